// SPDX-License-Identifier: MIT
// Which fault bends a sine the way its harmonics say: filtered rails, a dead zone, a slew limit, a
// soft law.
#pragma once

#include <optional>

#include "measure/tone_fit.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// What explains the harmonics best.
enum class WaveShape {
  plain,      ///< no harmonics above the noise
  rails,      ///< cut at rails, then filtered: flat tops that are tilted or rounded
  dead_zone,  ///< the gain is lower around zero: crossover distortion
  slew,       ///< the output cannot move fast enough
  bend,       ///< a smooth law without memory: soft compression, or one half softer than the other
  unknown     ///< none of these, or too few harmonics to say
};

/// The shape, with the figures that belong to it; the others are 0 or absent.
struct ShapeFit {
  WaveShape shape = WaveShape::unknown;
  Decibels misfit{0.0};  ///< energy left over that of the harmonics, noise taken off both
  Decibels margin{0.0};  ///< by how much the next shape's misfit is larger
  std::optional<Decibels> over_positive, over_negative;  ///< rails: how far the sine exceeds them
  Hertz high_pass{0.0}, low_pass{0.0};  ///< rails: corners of the filters behind; 0 is none
  Percent dead_share{0.0};              ///< dead zone: its half width, of the sine's peak
  Percent speed{0.0};  ///< slew: the fastest slope there is, of the steepest that the sine has
  bool even = false;   ///< bend: the two halves are bent unequally, even orders prevail
  bool compressed =
      true;  ///< bend: the crests are lower than a straight law makes them, not higher
};

/// Up to which order a recording holds what there is: where its noise falls by more than 9 dB
/// within an octave, a low-pass of the recorder hides the harmonics beyond, and with them the
/// difference between rails and a smooth law. Brown noise falls by 6 dB, so it is not taken for
/// one.
/// \returns 1 or more; all orders where the noise shows no end
[[nodiscard]] std::size_t passed_orders(const HarmonicSeries& tone);

/// Fits the shapes to a tone's harmonics, orders 2 to 40 below `highest`.
///
/// Each shape has closed-form or tabulated harmonics (shape_series.hpp), behind a high-pass and a
/// low-pass of first order whose corners are free. The best of a grid is improved by the simplex
/// method of Nelder and Mead (Computer J. 7 (1965) 308). A shape is named when what it leaves is
/// below a tenth of the harmonics' energy and clearly less than any other leaves.
/// Does not: look for rails without a filter, which fit_clipped_sine does better.
/// \param tone harmonics from order 1; sigma > 0
[[nodiscard]] ShapeFit fit_shape(const HarmonicSeries& tone, Hertz highest = Hertz(20000.0));

}  // namespace railtap::measure
