// SPDX-License-Identifier: MIT
// The Fourier series of what a limiter takes off a sine, in closed form.
#include "measure/clipped_sine_series.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace railtap::measure {
namespace {

/// S_m = sin(m·p)/m by the rotation recurrence; its rounding grows as m·1e−16, far below any noise
/// here.
void fill_chords(double angle, std::span<double> chord) {
  const double sin_p = std::sin(angle);
  const double cos_p = std::cos(angle);
  double sin_m = 0.0;
  double cos_m = 1.0;
  chord[0] = angle;
  for (std::size_t m = 1; m < chord.size(); ++m) {
    const double next_sin = sin_m * cos_p + cos_m * sin_p;
    cos_m = cos_m * cos_p - sin_m * sin_p;
    sin_m = next_sin;
    chord[m] = sin_m / static_cast<double>(m);
  }
}

/// The angle whose cosine is the threshold; 0 for a threshold the sine does not reach.
double reach(double threshold) {
  return threshold >= 1.0 ? 0.0 : std::acos(std::max(threshold, 0.0));
}

}  // namespace

void excess_series(double angle, std::span<double> chord, std::span<double> excess) {
  fill_chords(angle, chord);
  excess[0] = 2.0 / std::numbers::pi * (std::sin(angle) - angle * std::cos(angle));
  for (std::size_t n = 1; n < excess.size(); ++n) {
    excess[n] = (chord[n - 1] - chord[n + 1]) / (std::numbers::pi * static_cast<double>(n));
  }
}

void knee_series(double low, double high, std::span<double> scratch, KneeSeries out) {
  const std::size_t size = out.excess.size();
  const auto chord = scratch.first(size + 2);
  const auto excess_low = scratch.subspan(size + 2, size + 1);
  const auto excess_high = scratch.subspan(2 * size + 3, size + 1);
  excess_series(reach(low), chord, excess_low);
  excess_series(reach(high), chord, excess_high);
  const double width = high - low;
  out.excess[0] = out.by_low[0] = out.by_high[0] = 0.0;
  for (std::size_t n = 1; n < size; ++n) {
    const double half = 1.0 / (2.0 * static_cast<double>(n));
    const double integral_low = half * (excess_low[n - 1] - excess_low[n + 1]);
    const double integral_high = half * (excess_high[n - 1] - excess_high[n + 1]);
    const double mean = (integral_low - integral_high) / width;
    out.excess[n] = mean;
    out.by_low[n] = (mean - excess_low[n]) / width;
    out.by_high[n] = (excess_high[n] - mean) / width;
  }
}

}  // namespace railtap::measure
