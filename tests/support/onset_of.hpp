// SPDX-License-Identifier: MIT
// From samples in memory to the onset, as the command does it from a file.
#pragma once

#include <optional>
#include <vector>

#include "judge/onset.hpp"
#include "measure/known_steps.hpp"
#include "measure/ladder.hpp"
#include "measure/level_stretches.hpp"
#include "measure/steps.hpp"

namespace railtap::test {

[[nodiscard]] inline measure::LevelTrack track_of(const std::vector<double>& samples, Hertz rate) {
  measure::LevelTracker tracker(rate);
  tracker.add(samples.data(), 1, samples.size());
  return tracker.finish();
}

[[nodiscard]] inline std::vector<measure::MeasuredStep> measured(
    const std::vector<double>& samples, Hertz rate, const std::vector<measure::Step>& steps,
    std::optional<Hertz> tone = {}) {
  measure::RecordingOptions options;
  options.code_step = 0x1p-15;
  measure::KnownStepMeter meter(rate, options, steps, tone);
  meter.add(samples.data(), 1, samples.size());
  return meter.finish();
}

/// The onset of a ladder that is found by its levels, with the level of its first step told.
[[nodiscard]] inline std::optional<judge::ChannelOnset> ladder_onset(
    const std::vector<double>& samples, Hertz rate, judge::LadderInput input) {
  const auto track = track_of(samples, rate);
  const auto ladder = measure::find_ladder(track, measure::find_plateaus(track));
  if (!ladder) return std::nullopt;
  const auto steps = measured(samples, rate, measure::cut_evenly(track, ladder->grid));
  return judge::judge_onset(1, steps, input, rate, {});
}

/// The onset of a level that is turned by hand.
[[nodiscard]] inline judge::ChannelOnset rising_onset(const std::vector<double>& samples,
                                                      Hertz rate) {
  const auto track = track_of(samples, rate);
  const auto steps = measure::cut_turned(track, measure::find_plateaus(track));
  return judge::judge_onset(1, measure::with_tone(measured(samples, rate, steps, track.tone)),
                            std::nullopt, rate, {});
}

}  // namespace railtap::test
