// SPDX-License-Identifier: MIT
// Windowing a block twice, and keeping the highest line of each column.
#include "measure/spectrum_curve.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "measure/spectrum.hpp"

namespace railtap::measure {
namespace {

constexpr std::size_t least_samples = 1024;
constexpr double columns_per_octave = 48.0;
// Half the stretch in bins: of a line, what lies further out in the squared window is below 1e-6.
constexpr std::size_t half_width = 5;

/// The window of `Spectrum` [Harris, Proc. IEEE 66 (1978), p. 65], put on once more.
struct Windowed {
  std::vector<double> samples;
  double power_scale = 0.0;  ///< what `Spectrum::mean_square` is to be multiplied by
};

Windowed windowed(std::span<const double> samples) {
  const double step = 2.0 * std::numbers::pi / static_cast<double>(samples.size());
  double sum_of_squares = 0.0, sum_of_fourths = 0.0;
  Windowed out;
  out.samples.reserve(samples.size());
  for (std::size_t n = 0; n < samples.size(); ++n) {
    const double angle = step * static_cast<double>(n);
    const double w = 0.35875 - 0.48829 * std::cos(angle) + 0.14128 * std::cos(2.0 * angle) -
                     0.01168 * std::cos(3.0 * angle);
    out.samples.push_back(w * samples[n]);
    sum_of_squares += w * w;
    sum_of_fourths += w * w * w * w;
  }
  out.power_scale = sum_of_squares / sum_of_fourths;
  return out;
}

/// Without its mean: DC would lie over the lowest frequencies.
std::vector<double> without_dc(std::span<const double> samples) {
  double sum = 0.0;
  for (const double sample : samples) sum += sample;
  const double mean = sum / static_cast<double>(samples.size());
  std::vector<double> out(samples.begin(), samples.end());
  for (double& sample : out) sample -= mean;
  return out;
}

/// Power in the stretch around each bin.
std::vector<double> stretches(const Spectrum& spectrum, double scale) {
  std::vector<double> out(spectrum.bins(), 0.0);
  for (std::size_t bin = half_width; bin + half_width < out.size(); ++bin) {
    for (std::size_t k = bin - half_width; k <= bin + half_width; ++k) {
      out[bin] += scale * spectrum.mean_square(k);
    }
  }
  return out;
}

int column_of(double hz) {
  return static_cast<int>(std::floor(columns_per_octave * std::log2(hz)));
}

}  // namespace

SpectrumCurve spectrum_curve(std::span<const double> samples, Hertz rate, Band band) {
  SpectrumCurve curve;
  const std::size_t length = Spectrum::good_length(samples.size());
  if (length < least_samples) return curve;
  Spectrum spectrum(length);
  const Windowed block = windowed(without_dc(samples.first(length)));
  spectrum.transform(block.samples);
  const double bin_hz = rate.value() / static_cast<double>(length);
  const std::vector<double> power = stretches(spectrum, block.power_scale);
  curve.resolution = Hertz(bin_hz * static_cast<double>(2 * half_width + 1));
  int column = -1;
  for (std::size_t bin = half_width; bin + half_width < power.size(); ++bin) {
    const double hz = bin_hz * static_cast<double>(bin);
    if (hz < band.low.value() || hz > band.high.value()) continue;
    const bool same = !curve.frequency_hz.empty() && column == column_of(hz);
    if (same && power[bin] <= curve.mean_square.back()) continue;
    if (same) {
      curve.frequency_hz.back() = hz;
      curve.mean_square.back() = power[bin];
    } else {
      curve.frequency_hz.push_back(hz);
      curve.mean_square.push_back(power[bin]);
    }
    column = column_of(hz);
  }
  return curve;
}

}  // namespace railtap::measure
