// SPDX-License-Identifier: MIT
// What a sine becomes when both its tops are cut flat: distortion, power, and what meters make of
// it.
#pragma once

#include "units/quantity.hpp"

namespace railtap::electric {

/// A sine of peak 1 cut at ±c, as plain numbers re that peak.
struct HardClip {
  double clip_ratio;   ///< c, 0 < c <= 1
  double fundamental;  ///< peak of the fundamental
  double mean_square;  ///< square of the RMS
  double mean_abs;     ///< mean of the rectified waveform
  Percent thd;         ///< RMS of all harmonics over the RMS of the fundamental
  double power_gain;   ///< power over the power at the onset of clipping, for a rail that stays
                       ///< where it is
};

/// The closed form, from the Fourier integrals of y = clamp(sin x, −c, c) with t = asin c:
///   b1 = (2/π)(t + c·√(1−c²)),  mean square = (t − c·√(1−c²))/π + c²(1 − 2t/π),
///   mean |y| = (2/π)(1 − cos t + c(π/2 − t)),  THD = √(2·ms − b1²)/b1  (derived here, no band
///   limit).
/// \param overdrive how far the sine would exceed the rail, −20·log10(c); 0 … 200 dB
/// \throws Error for a negative overdrive or one that is not finite
[[nodiscard]] HardClip hard_clip(Decibels overdrive);

}  // namespace railtap::electric
