// SPDX-License-Identifier: MIT
// Which way up the polarity pulses of a verification track arrive.
#pragma once

#include <array>
#include <complex>
#include <span>

#include "measure/line_search.hpp"
#include "signal/polarity.hpp"
#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// The pulses' orders as recorded.
struct PolarityReading {
  int orders = 0;          ///< that were played: 2 or 4
  Hertz fundamental{0.0};  ///< as recorded
  double clock_ratio = 1.0;
  /// Peak amplitude, full scales, and phase of each order at one common time.
  std::array<std::complex<double>, signal::polarity_amplitudes.size()> phasor{};
  std::array<double, signal::polarity_amplitudes.size()> noise{};  ///< mean square at each order

  /// Whether an order stands 15 dB out of the noise around it; index from 0.
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
