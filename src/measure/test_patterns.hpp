// SPDX-License-Identifier: MIT
// The patterns of a verification track as recorded: which side arrives, and which way up.
#pragma once

#include <array>
#include <complex>
#include <span>

#include "measure/line_search.hpp"
#include "signal/test_patterns.hpp"
#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// One frequency of the pattern while its side plays. Mean squares, full scales².
struct PatternLine {
  bool left = false;
  bool low = false;      ///< of the side's two, the one that passes a bass amplifier
  Hertz frequency{0.0};  ///< nominal
  double mean_square = 0.0;
  double noise = 0.0;  ///< what noise alone would give there

  /// Whether it is 15 dB above the noise around it.
  [[nodiscard]] bool stands_out() const;
};

/// The pattern as one channel recorded it.
struct PatternReading {
  /// Recorded duration over the nominal one, by the burst that gives it most precisely; the
  /// expected one where none does.
  double clock_ratio = 1.0;
  /// Left low, left high, right low, right high.
  std::array<PatternLine, 4> lines;

  [[nodiscard]] const PatternLine& line(bool left, bool low) const {
    return lines[(left ? 0U : 2U) + (low ? 0U : 1U)];
  }
};

/// Measures a channel pattern (signal/test_patterns.hpp). Crosstalk is one side's line in a
/// channel over the same line in the channel it belongs to.
/// \param samples full scale ±1, finite
[[nodiscard]] PatternReading measure_channel_pattern(std::span<const double> samples, Hertz rate,
                                                     const PartPlace& place);

/// The pulses' orders as recorded.
struct PolarityReading {
  int orders = 0;          ///< that were played: 2 or 4
  Hertz fundamental{0.0};  ///< as recorded
  double clock_ratio = 1.0;
  /// Peak amplitude, full scales, and phase of each order at one common time.
  std::array<std::complex<double>, signal::polarity_amplitudes.size()> phasor{};
  std::array<double, signal::polarity_amplitudes.size()> noise{};  ///< mean square at each order

  /// Whether an order is 15 dB above the noise around it; index from 0.
  [[nodiscard]] bool stands_out(int index) const;
};

/// How well the pulses fit upright and inverted, over all delays.
struct PolarityFit {
  int orders_used = 0;
  double upright = 0.0;   ///< 0 … 1: share of the orders' sum that crests together upwards
  double inverted = 0.0;  ///< the same downwards
  /// (upright − inverted)/(upright + inverted) over what it is for the pulses as they were played:
  /// 1 upright, −1 inverted, near 0 neither.
  double margin = 0.0;
};

/// Measures the orders. The clock is found from the pulses themselves.
/// \param samples full scale ±1, finite
[[nodiscard]] PolarityReading measure_polarity(std::span<const double> samples, Hertz rate,
                                               const signal::PolarityPulses& pulses,
                                               const PartPlace& place);

/// Compares the phases with the pulses' own; amplitudes do not count, beyond standing out of the
/// noise. \param turns by how much filters are known to turn each order's phase, radians; zeros
/// where nothing is known
[[nodiscard]] PolarityFit fit_polarity(
    const PolarityReading& reading,
    const std::array<double, signal::polarity_amplitudes.size()>& turns);

}  // namespace railtap::measure
