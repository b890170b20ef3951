// SPDX-License-Identifier: MIT
// The law of a stage from one of its steps.
#include "judge/onset_law.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace railtap::judge::criteria {
namespace {

using measure::ClipModel;
using measure::ClippedSineFit;
using measure::StaticLaw;

// What a law leaves of a step's harmonics, at most.
constexpr double worst_law_misfit = 0.15;

double rail(const ClippedSineFit& fit, const measure::RailOverdrive& side) {
  if (side.overdrive.value() <= 0.0) return std::numeric_limits<double>::infinity();
  return fit.amplitude_fs / amplitude_ratio(side.overdrive);
}

// Estimates from two steps, e1 at v1 and e2 at v2 (inputs): where a line through them meets
// itself, e(v) = v. It is e1 itself where they agree.
double fixed_point(double e1, double v1, double e2, double v2) {
  const double slope = (e1 - e2) / (v1 - v2);
  return (e1 - slope * v1) / (1.0 - slope);
}

}  // namespace

bool is_corner(const ClippedSineFit& fit) {
  return fit.explained && (fit.positive.flat || fit.negative.flat) &&
         (fit.model == ClipModel::hard || fit.model == ClipModel::hard_two_poles ||
          fit.model == ClipModel::hard_low_pass);
}

std::optional<StaticLaw> law_of(const Point& point) {
  if (point.clip != nullptr && is_corner(*point.clip)) {
    const ClippedSineFit& fit = *point.clip;
    StaticLaw law;
    law.fundamental = point.series->fundamental;
    law.coupling = fit.coupling;
    law.rails =
        StaticLaw::Rails{fit.amplitude_fs, rail(fit, fit.positive), rail(fit, fit.negative)};
    return law;
  }
  StaticLaw law = measure::law_of(*point.series, point.orders);
  if (law.misfit > worst_law_misfit) return std::nullopt;
  return law;
}

std::optional<double> crossing(const std::function<double(double)>& excess, double low) {
  double high = 1.0;
  if (excess(high) < 0.0 || excess(low) >= 0.0) return std::nullopt;
  for (int i = 0; i < 40; ++i) {
    const double middle = 0.5 * (low + high);
    (excess(middle) < 0.0 ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

// Change of a function of the ratio for each decibel.
double slope_per_db(const std::function<double(double)>& f, double ratio) {
  const double step = std::pow(10.0, 0.05 / 20.0);
  return (f(std::min(1.0, ratio * step)) - f(ratio / step)) /
         (20.0 * std::log10(std::min(1.0, ratio * step) / (ratio / step)));
}

std::optional<double> ratio_at(const StaticLaw& law, std::size_t orders, double level) {
  return crossing(
      [&](double ratio) { return level_db(output_of(law, ratio, orders).total()) - level; }, 1e-3);
}

Estimate at_ratio(const StaticLaw& law, const Point& above, double ratio) {
  Estimate estimate;
  estimate.level = level_db(output_of(law, ratio, above.orders).total());
  if (above.input) estimate.input = *above.input + 20.0 * std::log10(ratio);
  return estimate;
}

Estimate join(const Estimate& first, const Estimate& second, double distance_db, double over_db) {
  Estimate result = first;
  const double difference = first.level - second.level;
  result.sigma = std::hypot(first.sigma, 0.5 * std::abs(difference));
  if (std::abs(difference) < drift_db || distance_db < 0.1) return result;
  const double v1 = first.level + over_db;
  const double at = fixed_point(first.level, v1, second.level, v1 + distance_db);
  const double moved = at - first.level;
  if (std::abs(moved) > over_db) return result;
  result.level += moved;
  if (result.input) *result.input += moved;
  result.sigma = std::hypot(first.sigma, 0.5 * std::abs(moved));
  return result;
}

}  // namespace railtap::judge::criteria
