// SPDX-License-Identifier: MIT
// The onset of compression.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "judge/interpolate.hpp"
#include "judge/onset_criteria.hpp"
#include "judge/onset_law.hpp"

namespace railtap::judge::criteria {
namespace {

using measure::StaticLaw;

// A law must explain the gain of the step below it to this.
constexpr double law_gain_agreement_db = 0.02;

// What noise leaves uncertain in the level that a law gives: of a series, all its coefficients take
// part; of rails, the fit has averaged over them.
double law_level_sigma(const StaticLaw& law, const Point& point) {
  if (law.rails) return point.level_sigma;
  double variance = 0.0;
  for (std::size_t k = 0; k < point.orders; ++k) {
    variance += point.series->sigma[k] * point.series->sigma[k];
  }
  return 20.0 / std::numbers::ln10 * std::sqrt(variance / (2.0 * point.fundamental));
}

std::optional<Estimate> compression_by_law(const std::vector<Point>& points, std::size_t below,
                                           double least_gain, double gain_sigma) {
  const Point& low = points[below];
  const Point& high = points[below + 1];
  const auto law = law_of(high);
  if (!law) return std::nullopt;
  const auto gain = [&](double ratio) {
    return level_db(output_of(*law, ratio, high.orders).total()) - *high.input -
           20.0 * std::log10(ratio);
  };
  const double low_ratio = std::pow(10.0, (*low.input - *high.input) / 20.0);
  if (std::abs(gain(low_ratio) - (low.level - *low.input)) > law_gain_agreement_db)
    return std::nullopt;
  const auto ratio = crossing([&](double r) { return least_gain - gain(r); }, low_ratio * 0.95);
  if (!ratio) return std::nullopt;
  Estimate estimate = at_ratio(*law, high, *ratio);
  const double slope = std::abs(slope_per_db(gain, *ratio));
  estimate.sigma = std::hypot(law_level_sigma(*law, high), gain_sigma) / std::min(1.0, slope);
  return estimate;
}

Estimate compression_between(const std::vector<Point>& points, std::size_t below, double least_gain,
                             double gain_sigma) {
  const Curve gain = curve_around(points, below, [](const Point& p) { return p.level - axis(p); });
  const double low = axis(points[below]);
  const double high = axis(points[below + 1]);
  const double smooth =
      bisect([&](double x) { return least_gain - monotone_cubic(gain.x, gain.y, x); }, low, high);
  Estimate estimate = at_axis(points, below, smooth);
  const double fall = (points[below].level - low) - (points[below + 1].level - high);
  estimate.sigma = gain_sigma / std::min(1.0, fall / (high - low));
  // A limiter has a corner in its gain: the line through the two steps above it, carried back.
  if (below + 2 < points.size()) {
    const double next = axis(points[below + 2]);
    const double gain_high = points[below + 1].level - high;
    const double gain_next = points[below + 2].level - next;
    const double slope = (gain_next - gain_high) / (next - high);
    const double corner = high + (least_gain - gain_high) / slope;
    if (slope < 0.0 && corner > low && corner < high) {
      const double moved = 0.5 * (corner - smooth);
      const double sigma = std::hypot(estimate.sigma, moved);
      estimate = at_axis(points, below, smooth + moved);
      estimate.sigma = sigma;
    }
  }
  return estimate;
}

}  // namespace

std::optional<Estimate> compression_onset(const std::vector<Point>& points, const Gain& gain,
                                          double limit_db) {
  const double least_gain = gain.db - limit_db;
  const double sigma = std::hypot(gain.sigma, gain_known_to_db);
  std::size_t below = points.size();
  while (below > 0 && points[below - 1].level - *points[below - 1].input < least_gain) --below;
  if (below == 0 || below == points.size()) return std::nullopt;
  if (const auto estimate = compression_by_law(points, below - 1, least_gain, sigma)) {
    return estimate;
  }
  return compression_between(points, below - 1, least_gain, sigma);
}

std::optional<Estimate> compression_of_law(const std::vector<Point>& points, double limit_db) {
  constexpr double soft = 0.1;  // of the input: where the law is taken as straight
  for (const Point& point : points) {
    if (point.verdict == Verdict::clean) continue;
    const auto law = law_of(point);
    if (!law) continue;
    const auto gain = [&](double ratio) {
      return level_db(output_of(*law, ratio, point.orders).total()) - 20.0 * std::log10(ratio);
    };
    const double straight = gain(soft);
    const auto ratio =
        crossing([&](double r) { return straight - limit_db - gain(r); }, 2.0 * soft);
    if (!ratio) continue;
    Estimate estimate = at_ratio(*law, point, *ratio);
    estimate.sigma = std::hypot(point.level_sigma, 5.0 * least_uncertainty_db);
    return estimate;
  }
  return std::nullopt;
}

}  // namespace railtap::judge::criteria
