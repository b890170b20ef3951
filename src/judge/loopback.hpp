// SPDX-License-Identifier: MIT
// A recording of the loop-back track: what the sound interface adds by itself.
#pragma once

#include <optional>
#include <span>
#include <string>

#include "electric/sound_interface.hpp"
#include "judge/findings.hpp"
#include "measure/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// Finds the parts of the kit's track `loopback` by their markers (a steady tone, silence, a sweep)
/// and measures each. Device and date are left empty.
/// \param samples one channel, full scale ±1
/// \param code_step distance of two codes in full scales, for PCM
/// \throws Error where a part is missing, or the tone is clipped or overloads the input
[[nodiscard]] electric::SoundInterface judge_loopback(std::span<const double> samples, Hertz rate,
                                                      std::optional<double> code_step,
                                                      const std::string& place);

/// Which figures may be the interface's own.
struct NotAbove {
  bool thdn = false, noise = false, noise_a = false;
};

/// A figure is above the interface's own where it exceeds it by more than `own_spread`.
[[nodiscard]] NotAbove not_above(const Findings& findings,
                                 const electric::SoundInterface& interface);

/// How much noise figures vary from one measurement to the next: one decibel, as of a second of
/// noise in a narrow band (from memory: 4.34 dB over the root of bandwidth times time, with room).
inline constexpr Decibels own_spread{1.0};

}  // namespace railtap::judge
