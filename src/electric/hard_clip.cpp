// SPDX-License-Identifier: MIT
// What a sine becomes when both its tops are cut flat: distortion, power, and what meters make of
// it.
#include "electric/hard_clip.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "units/parse.hpp"

namespace railtap::electric {

HardClip hard_clip(Decibels overdrive) {
  using std::numbers::pi;
  // Beyond 200 dB the waveform is a square to the last digit of a double.
  require_within(overdrive, Decibels(0.0), Decibels(200.0), "overdrive");
  const double c = amplitude_ratio(-overdrive);
  const double t = std::asin(c);
  const double cosine = std::sqrt((1.0 - c) * (1.0 + c));  // of t
  const double b1 = 2.0 / pi * (t + c * cosine);
  const double mean_square = (t - c * cosine) / pi + c * c * (1.0 - 2.0 * t / pi);
  const double mean_abs = 2.0 / pi * (1.0 - cosine + c * (pi / 2.0 - t));
  // Rounding may leave a tiny negative number at the onset.
  const double harmonics = std::max(0.0, 2.0 * mean_square - b1 * b1);
  const double onset_mean_square = c * c / 2.0;  // a sine that just touches the rail
  return {c,
          b1,
          mean_square,
          mean_abs,
          Percent(100.0 * std::sqrt(harmonics) / b1),
          mean_square / onset_mean_square};
}

}  // namespace railtap::electric
