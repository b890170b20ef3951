// SPDX-License-Identifier: MIT
// What silence shows of a channel: hiss in volts and as a sound level, hum and whine.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "measure/silence.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// One line in the silence.
struct SilenceLine {
  Hertz frequency{0.0};
  std::string kind;  ///< "hum", "whine" or "tone"
  Dbfs level{0.0};
  std::optional<Volts> level_v;          ///< RMS
  std::optional<Decibels> re_programme;  ///< re a full-scale programme at this volume
};

/// Hiss, hum and whine of one channel. Absent is what the context does not give, and the level of
/// what is digital silence.
struct SilenceFindings {
  Seconds length{0.0};
  std::optional<Dbfs> hiss;     ///< 20 Hz to 20 kHz, without lines
  std::optional<Dbfs> hiss_a;   ///< A-weighted, without lines, less the interface's where known
  std::optional<Dbfs> whole_a;  ///< A-weighted, with lines
  std::optional<Volts> hiss_v, hiss_a_v, whole_a_v;  ///< RMS
  std::optional<Decibels> hiss_sound_level;          ///< dB(A) at 1 m
  std::optional<Decibels> hiss_re_programme;         ///< A-weighted, re a full-scale programme
  bool interface_bound = false;    ///< over half of its power may be the interface's own
  std::vector<SilenceLine> lines;  ///< strongest first
};

/// What else has to be known for it; what is not is absent.
struct SilenceContext {
  std::optional<Volts> volts_per_full_scale;  ///< peak volts at digital full scale
  std::optional<Decibels> sensitivity;        ///< of the speaker, dB at 2.83 V and 1 m
  std::optional<Dbfs> programme;          ///< recorded level of a sine at the track's full scale
  std::optional<Dbfs> interface_noise_a;  ///< A-weighted; its power is taken off the hiss
};

/// Powers as levels, and as volts and sound where the context allows. Lines more than 100 dB below
/// a full-scale programme are left out.
[[nodiscard]] SilenceFindings judge_silence(const measure::SilenceReading& reading,
                                            const SilenceContext& context);

}  // namespace railtap::judge
