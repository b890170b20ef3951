// SPDX-License-Identifier: MIT
// How much of the left and of the right side's bursts a recorded channel holds.
#pragma once

#include <array>
#include <span>

#include "measure/line_search.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// One frequency of the pattern while its side plays. Mean squares, full scales².
struct PatternLine {
  bool left = false;
  bool low = false;      ///< of the side's two, the one that passes a bass amplifier
  Hertz frequency{0.0};  ///< nominal
  double mean_square = 0.0;
  double noise = 0.0;  ///< what noise alone would give there

  /// Whether it stands 15 dB out of the noise around it.
  [[nodiscard]] bool stands_out() const;
};

/// The pattern as one channel recorded it.
struct PatternReading {
  /// Recorded duration over the nominal one, by the burst that tells it best; the expected one
  /// where none does.
  double clock_ratio = 1.0;
  /// Left low, left high, right low, right high.
  std::array<PatternLine, 4> lines;

  [[nodiscard]] const PatternLine& line(bool left, bool low) const {
    return lines[(left ? 0U : 2U) + (low ? 0U : 1U)];
  }
};

/// Measures a channel pattern (signal/channel_pattern.hpp). Crosstalk is one side's line in a
/// channel over the same line in the channel it belongs to.
/// \param samples full scale ±1, finite
[[nodiscard]] PatternReading measure_channel_pattern(std::span<const double> samples, Hertz rate,
                                                     const PartPlace& place);

}  // namespace railtap::measure
