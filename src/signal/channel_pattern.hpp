// SPDX-License-Identifier: MIT
// The pattern that tells left from right, by ear and by measurement.
#pragma once

#include <array>

namespace railtap::signal {

/// A burst of two sines of equal amplitude. The lower one passes a bass amplifier's filter, the
/// upper one those of doors and tweeters.
struct PatternBurst {
  bool left;
  double start_s, length_s;
  double low_hz, high_hz;
};

/// Left: one long burst. Right: two short ones, higher. Each side is silent while the other plays,
/// so the pattern also shows crosstalk. The frequencies avoid 50 and 60 Hz and their multiples by
/// 5 Hz and more, and no one is a multiple of another.
inline constexpr std::array<PatternBurst, 3> pattern_bursts{{
    {true, 0.0, 1.5, 43.0, 433.0},
    {false, 2.0, 0.6, 67.0, 677.0},
    {false, 2.9, 0.6, 67.0, 677.0},
}};
inline constexpr double pattern_length_s = 4.0;

}  // namespace railtap::signal
