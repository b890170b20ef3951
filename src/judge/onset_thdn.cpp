// SPDX-License-Identifier: MIT
// The onset of clipping by THD+N.
#include <algorithm>
#include <cmath>

#include "judge/onset_criteria.hpp"

namespace railtap::judge::criteria {
namespace {

// A law that a step's harmonics give must explain the distortion of the step below it within this
// share of the limit.
constexpr double law_agreement = 0.2;

// Harmonics that the chain adds by itself, re the fundamental: the least of the three steps below.
double own_distortion(const std::vector<Point>& points, std::size_t below) {
  double least = points[below].harmonics / points[below].fundamental;
  for (std::size_t i = below >= 2 ? below - 2 : 0; i < below; ++i) {
    least = std::min(least, points[i].harmonics / points[i].fundamental);
  }
  return least;
}

struct ThdnProblem {
  const std::vector<Point>& points;
  std::size_t below;     // the last point within the limit
  double limit_squared;  // of THD+N, re the total
};

// Standard deviation of the square of THD+N at the limit: harmonics from their own noise, and the
// noise's power from the bandwidth-time product of the step with which it was taken.
double thdn_sigma(const Point& above, const Point& below, double limit_squared) {
  constexpr double noise_known_to = 0.03;
  double variance = 0.0;
  for (std::size_t k = 1; k < above.orders; ++k) {
    variance += above.series->sigma[k] * above.series->sigma[k];
  }
  const double mean = variance / static_cast<double>(above.orders);
  const double noise = noise_known_to * below.noise / below.fundamental;
  return std::hypot(2.0 * std::sqrt(limit_squared * mean / (2.0 * above.fundamental)), noise);
}

struct RatioEstimate {
  Estimate estimate;
  double ratio;
};

std::optional<RatioEstimate> thdn_by_law(const ThdnProblem& problem, std::size_t above) {
  const Point& point = problem.points[above];
  const Point& below = problem.points[problem.below];
  const auto law = law_of(point);
  if (!law) return std::nullopt;
  const double own = law->rails ? own_distortion(problem.points, problem.below) : 0.0;
  const auto below_ratio = ratio_at(*law, point.orders, below.level);
  if (!below_ratio) return std::nullopt;
  const auto there = output_of(*law, *below_ratio, point.orders);
  const double expected = std::sqrt(there.harmonics / there.fundamental + own);
  const double found = std::sqrt(below.harmonics / below.fundamental);
  if (std::abs(expected - found) > law_agreement * std::sqrt(problem.limit_squared))
    return std::nullopt;
  const auto excess = [&](double ratio) {
    const auto out = output_of(*law, ratio, point.orders);
    const double rest = out.harmonics + own * out.fundamental + below.noise;
    return rest / (out.fundamental + rest) - problem.limit_squared;
  };
  const auto ratio = crossing(excess, *below_ratio * 0.9);
  if (!ratio) return std::nullopt;
  RatioEstimate result{at_ratio(*law, point, *ratio), *ratio};
  const double slope = slope_per_db(excess, *ratio);
  result.estimate.sigma =
      std::hypot(std::hypot(point.level_sigma, movement_sigma(point)), least_uncertainty_db,
                 thdn_sigma(point, below, problem.limit_squared) / slope);
  return result;
}

Estimate thdn_between(const ThdnProblem& problem) {
  const Point& low = problem.points[problem.below];
  const Point& high = problem.points[problem.below + 1];
  const Curve distortion = curve_around(problem.points, problem.below, [](const Point& p) {
    return std::log(std::max(p.harmonics / p.fundamental, 1e-12));
  });
  const Curve noise = curve_around(problem.points, problem.below, [](const Point& p) {
    return std::log(std::max(p.noise / p.fundamental, 1e-15));
  });
  const double limit = problem.limit_squared / (1.0 - problem.limit_squared);
  const auto excess = [&](double x) {
    return std::exp(monotone_cubic(distortion.x, distortion.y, x)) +
           std::exp(monotone_cubic(noise.x, noise.y, x)) - limit;
  };
  const double x = bisect(excess, axis(low), axis(high));
  const double a = std::log(low.thdn_squared());
  const double b = std::log(high.thdn_squared());
  const double straight =
      axis(low) + (axis(high) - axis(low)) * (std::log(problem.limit_squared) - a) / (b - a);
  Estimate estimate = at_axis(problem.points, problem.below, x);
  estimate.sigma = std::hypot(least_uncertainty_db, 0.5 * (x - straight));
  return estimate;
}

// The next point that is far enough from another to show a drift: points of a level that is turned
// by hand may be as close as they happen to be.
std::size_t next_apart(const std::vector<Point>& points, std::size_t from) {
  constexpr double least_apart_db = 0.3;
  std::size_t next = from + 1;
  if (points[from].input) return next;
  while (next < points.size() && points[next].level - points[from].level < least_apart_db) ++next;
  return next;
}

}  // namespace

std::optional<Estimate> thdn_onset(const std::vector<Point>& points, double limit) {
  const double limit_squared = limit * limit;
  std::size_t below = points.size();
  while (below > 0 && points[below - 1].thdn_squared() > limit_squared) --below;
  if (below == 0 || below == points.size()) return std::nullopt;
  const ThdnProblem problem{points, below - 1, limit_squared};
  const auto first = thdn_by_law(problem, below);
  if (!first) return thdn_between(problem);
  const std::size_t next = next_apart(points, below);
  if (next >= points.size()) return first->estimate;
  const auto second = thdn_by_law(problem, next);
  if (!second) return first->estimate;
  const double over = -20.0 * std::log10(first->ratio);
  const double second_over = -20.0 * std::log10(second->ratio);
  return join(first->estimate, second->estimate,
              second->estimate.level + second_over - first->estimate.level - over, over);
}

}  // namespace railtap::judge::criteria
