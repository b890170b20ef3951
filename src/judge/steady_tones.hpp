// SPDX-License-Identifier: MIT
// The response at steady tones, step by step, and whether a sweep agrees.
#pragma once

#include <optional>
#include <vector>

#include "electric/calibration.hpp"
#include "judge/analysis.hpp"
#include "judge/filters.hpp"
#include "judge/sentence.hpp"
#include "measure/known_steps.hpp"
#include "measure/swept_response.hpp"
#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// A stepped sine as recorded, with what was played.
struct SteppedReading {
  std::vector<measure::MeasuredStep> steps;  ///< those that lie in the recording
  signal::SteppedSine played;
  Hertz rate{0.0};           ///< samples per second
  double clock_ratio = 1.0;  ///< recorded duration over the nominal one
};

/// One step. A response is absent where the tone that was played is not what is there.
struct SteadyTone {
  Hertz played{0.0};
  Findings findings;                 ///< those of `analyze`; levels as recorded
  std::optional<Decibels> response;  ///< recorded over played, the interface's own taken out
  std::optional<Decibels> relative;  ///< the same re the reference
  std::optional<Decibels> re_sweep;  ///< the same re the sweep's response there
};

/// All steps of a channel.
struct SteadyTones {
  Dbfs level{0.0};                    ///< at which they were played
  std::vector<SteadyTone> tones;      ///< in order of time
  std::optional<Decibels> reference;  ///< where no filter acts; without filters the strongest
  std::optional<measure::ResponsePoint> interface_part;  ///< largest of what was taken out
  std::optional<ResponseFindings> filters;               ///< as the steps alone show them
  std::optional<Decibels> re_sweep;                ///< median over the steps; none without a sweep
  std::optional<measure::ResponsePoint> most_off;  ///< the step furthest from that, by how much
};

/// What the steps are judged by.
struct SteadyToneLimits {
  Limits analysis;
  Percent distortion{1.0};  ///< of the harmonics alone: noise is no fault of the bass
  Decibels agreement{0.5};  ///< with the sweep: five times what either is off by
};

/// The sweep of the same channel.
struct SweptChannel {
  const std::vector<measure::ResponsePoint>* points = nullptr;  ///< the interface's own taken out
  std::optional<Decibels> level;                                ///< where no filter acts
};

/// The measuring band for steps: 20 Hz to 20 kHz [AES17-2015, 5.2.5], from a tenth below the
/// lowest tone where that is lower, so that a slow clock does not move a tone out of it.
[[nodiscard]] measure::Band steady_tone_band(const signal::SteppedSine& played);

/// \param swept without points where there is no sweep
/// \param interface null where it is not known
[[nodiscard]] SteadyTones judge_steady_tones(const SteppedReading& reading,
                                             const SweptChannel& swept,
                                             const electric::SoundInterface* interface,
                                             const SteadyToneLimits& limits);

/// Findings about the steps, and whether the sweep agrees; filters are not among them.
void say_steady_tones(const SteadyTones& found, const SteadyToneLimits& limits,
                      std::vector<Finding>& to);

}  // namespace railtap::judge
