// SPDX-License-Identifier: MIT
// A spectrum thinned out until it fits a picture, with every line still at its height.
#pragma once

#include <span>
#include <vector>

#include "measure/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// Points of a spectrum, frequency rising.
struct SpectrumCurve {
  Hertz resolution{0.0};             ///< width of the stretch whose power a point holds
  std::vector<double> frequency_hz;  ///< in the middle of that stretch
  std::vector<double> mean_square;   ///< power in it, full scales²
};

/// The spectrum of a block within a band. Each point is the power in a stretch of `resolution`, so
/// a sine reads its own level and noise reads what lies in the stretch; of the points that fall
/// into one 48th of an octave the highest is kept.
///
/// Window: the four-term Blackman-Harris window squared. Alone, its sidelobes at −92 dB would stand
/// over the noise of a good recording; squared, they are below −180 dB.
/// \param samples full scale ±1, finite; fewer than 1024 give an empty curve
[[nodiscard]] SpectrumCurve spectrum_curve(std::span<const double> samples, Hertz rate, Band band);

}  // namespace railtap::measure
