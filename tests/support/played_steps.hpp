// SPDX-License-Identifier: MIT
// A tone played at one level after another through a stage with a known law, and the levels at
// which that stage meets each criterion exactly.
#pragma once

#include <optional>
#include <vector>

#include "support/clipped_tone.hpp"

namespace railtap::test {

/// A stage and what records it. The law maps input volts to output volts; the tone's peak at 0 dBFS
/// input is 1. What is recorded is scale × chain(law(input)) + noise.
struct Stage {
  Law law;
  Response chain;
  double scale = 1.0;
  double hz = 997.0;
  double rate = 48000.0;
  double noise_rms = 0.0;  ///< full scales, white to half the rate
};

/// One stretch: a level, or silence.
struct Played {
  std::optional<double> input_dbfs;
  double seconds;
};

/// Silence, `count` steps from `from_dbfs`, silence.
std::vector<Played> ladder(double from_dbfs, double rise_db, int count, double dwell_s,
                           double silence_s = 0.6);

/// The recording: the tone's phase runs on through level changes, each change is a straight
/// cross-fade of `fade_s` that begins where the stretch does.
std::vector<double> play(const std::vector<Played>& stretches, const Stage& stage, Random& random,
                         double fade_s = 0.002);

/// Input levels in dBFS at which the stage meets each criterion, by bisection on the harmonics of
/// one cycle of the law, orders in 20 Hz – 20 kHz, and the noise; none where it is
/// never met from below.
[[nodiscard]] std::optional<double> true_thdn_onset(const Stage& stage, double limit);
[[nodiscard]] std::optional<double> true_compression_onset(const Stage& stage, double limit_db);

/// Level in dBFS of the recorded tone with its harmonics for an input level.
double true_level(const Stage& stage, double input_dbfs);

}  // namespace railtap::test
