// SPDX-License-Identifier: MIT
// By how much pieces of a recording lag behind those of a track, and the line that their delays
// follow.
#pragma once

#include <complex>
#include <cstddef>
#include <kissfft/kissfft.hh>
#include <optional>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::measure {

/// The delay of a piece.
struct Delay {
  double time = 0.0;      ///< recording samples, middle of the piece
  double delay = 0.0;     ///< samples by which the reference comes too early, up to 30 ms
  double likeness = 0.0;  ///< of the correlation's peak, 0 ... 1
};

/// Delays of pieces of two signals by the phase transform, from 60 Hz to 8 kHz [C. H. Knapp, G. C.
/// Carter, IEEE Trans. ASSP 24 (1976), p. 320], its peak by a parabola.
class DelayMeter {
 public:
  static constexpr std::size_t piece_length = 16384;  ///< samples: 0.34 s at 48 kHz
  explicit DelayMeter(Hertz rate) : rate_(rate) {}
  /// \param recorded, reference piece_length samples each
  /// \returns with `time` 0
  [[nodiscard]] Delay measure(std::span<const double> recorded, std::span<const double> reference);

 private:
  static constexpr std::size_t length = 2 * piece_length;
  [[nodiscard]] std::vector<std::complex<double>> spectrum(std::span<const double> samples);
  Hertz rate_;
  kissfft<double> forward_{length, false}, backward_{length, true};
};

/// Samples of delay at a recording's start, and for each sample of it.
struct DelayLine {
  double at_start = 0.0, slope = 0.0;
};

/// The median of slopes between any two [P. K. Sen, J. Am. Statist. Assoc. 63 (1968), pp.
/// 1379-1389], and of what is left; then a line by least squares through those near it.
/// \returns none of no delays; a slope of 0 of fewer than three
[[nodiscard]] std::optional<DelayLine> robust_line(std::span<const Delay> delays);

}  // namespace railtap::measure
