// SPDX-License-Identifier: MIT
// Measured steps as points.
#include "judge/onset_points.hpp"

#include <cmath>
#include <numbers>

#include "judge/interpolate.hpp"

namespace railtap::judge::criteria {
namespace {

constexpr double full_scale_sine_mean_square = 0.5;

}  // namespace

double level_db(double mean_square) {
  return 10.0 * std::log10(mean_square / full_scale_sine_mean_square);
}

double axis(const Point& point) {
  return point.input ? *point.input : point.level;
}

Point point_of(const measure::MeasuredStep& measured, Verdict verdict, Hertz band_high) {
  const auto& block = measured.block;
  Point point;
  point.index = measured.step.index + 1;
  point.level = level_db(block.fundamental + block.harmonics);
  point.fundamental = block.fundamental;
  point.harmonics = block.harmonics;
  point.noise = std::max(0.0, block.residual - block.harmonics);
  point.level_sigma =
      20.0 / std::numbers::ln10 * block.series.sigma[0] / std::sqrt(2.0 * block.fundamental);
  const double orders = std::floor(band_high / block.series.fundamental + 1e-9);
  point.orders =
      std::clamp<std::size_t>(static_cast<std::size_t>(orders), 1, block.series.phasor.size());
  point.series = &block.series;
  point.clip = measured.clip ? &*measured.clip : nullptr;
  point.verdict = verdict;
  return point;
}

Estimate at_axis(const std::vector<Point>& points, std::size_t below, double x) {
  Estimate estimate;
  if (!points[below].input) {
    estimate.level = x;
    return estimate;
  }
  const Curve gain = curve_around(points, below, [](const Point& p) { return p.level - axis(p); });
  estimate.input = x;
  estimate.level = x + monotone_cubic(gain.x, gain.y, x);
  return estimate;
}

}  // namespace railtap::judge::criteria
