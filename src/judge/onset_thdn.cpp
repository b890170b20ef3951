// SPDX-License-Identifier: MIT
// The onset by distortion, where THD+N crosses its limit, and by compression, where the level no
// longer follows.

#include <algorithm>
#include <cmath>
#include <numbers>

#include "judge/onset_criteria.hpp"
#include "measure/kernels.hpp"

namespace railtap::judge::criteria {

// The onset of clipping by THD+N.

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

// Where the gain has fallen by a limit, and the gain of vanishing input that it is held against.

namespace {

constexpr double gain_floor_db = 0.003;  // of one step: the chain's own drift

// Steps whose gain is worth looking at: those that noise leaves precise, but for one that departs
// from its neighbours, which was disturbed.
std::vector<const Point*> gain_steps(const std::vector<Point>& points) {
  constexpr double least_precise_db = 0.1;
  constexpr double most_departure_db = 0.03;
  std::vector<const Point*> precise;
  for (const Point& p : points) {
    if (p.level_sigma < least_precise_db) precise.push_back(&p);
  }
  if (precise.size() < least_steps) return {};
  const auto gain = [&](std::size_t i) { return precise[i]->level - *precise[i]->input; };
  std::vector<const Point*> steps;
  for (std::size_t i = 0; i < precise.size(); ++i) {
    const std::size_t first = std::min(i == 0 ? 0 : i - 1, precise.size() - 3);
    const double usual = measure::median({gain(first), gain(first + 1), gain(first + 2)});
    const bool soft = i < (precise.size() + 1) / 2;
    const double off = std::abs(gain(i) - usual);
    if (soft && off > most_departure_db + 3.0 * precise[i]->level_sigma) continue;
    steps.push_back(precise[i]);
  }
  return steps;
}

// The mean gain of the softest steps, as many as it takes to know it.
Gain gain_of_softest(const std::vector<const Point*>& steps) {
  constexpr double precise_enough_db = 0.002;
  double sum = 0.0;
  double weights = 0.0;
  for (std::size_t i = 0; i < (steps.size() + 1) / 2; ++i) {
    const double sigma = std::hypot(steps[i]->level_sigma, gain_floor_db);
    sum += (steps[i]->level - *steps[i]->input) / (sigma * sigma);
    weights += 1.0 / (sigma * sigma);
    if (weights * precise_enough_db * precise_enough_db > 1.0) break;
  }
  return {sum / weights, gain_known_to_db};
}

// Least squares of gain = g − c·A^m at one exponent m, A the input re the loudest step.
struct PowerFit {
  Gain gain;
  double fall = 0.0;  // c
  double misfit = 0.0;
};

PowerFit fit_power(const std::vector<const Point*>& steps, double exponent) {
  double s = 0.0, sa = 0.0, saa = 0.0, sg = 0.0, sag = 0.0, sgg = 0.0;
  const double origin = steps.front()->level - *steps.front()->input;
  for (const Point* step : steps) {
    const double a = std::pow(10.0, exponent * (*step->input - *steps.back()->input) / 20.0);
    const double g = step->level - *step->input - origin;
    const double sigma = std::hypot(step->level_sigma, gain_floor_db);
    const double w = 1.0 / (sigma * sigma);
    s += w, sa += w * a, saa += w * a * a, sg += w * g, sag += w * a * g, sgg += w * g * g;
  }
  const double determinant = s * saa - sa * sa;
  PowerFit fit;
  const double gain = (saa * sg - sa * sag) / determinant;
  fit.fall = (sa * sg - s * sag) / determinant;
  fit.gain = {origin + gain, std::sqrt(saa / determinant)};
  fit.misfit = sgg - gain * sg + fit.fall * sag;
  return fit;
}

}  // namespace

std::optional<Gain> small_signal_gain(const std::vector<Point>& points, double limit_db) {
  constexpr std::size_t least_for_fit = 5;
  constexpr double exponents[] = {2, 2.5, 3, 3.5, 4, 5, 6, 8, 12, 20, 40};
  std::vector<const Point*> steps = gain_steps(points);
  if (steps.empty()) return std::nullopt;
  const Gain softest = gain_of_softest(steps);
  while (!steps.empty() && steps.back()->level - *steps.back()->input < softest.db - limit_db) {
    steps.pop_back();
  }
  if (steps.size() < least_for_fit) return softest;
  std::vector<PowerFit> fits;
  for (const double exponent : exponents) fits.push_back(fit_power(steps, exponent));
  const PowerFit best = *std::min_element(
      fits.begin(), fits.end(), [](const auto& a, const auto& b) { return a.misfit < b.misfit; });
  if (best.fall < 0.0) return softest;  // it rises, as crossover distortion lets it
  double spread = 0.0;
  for (const PowerFit& fit : fits) {
    if (fit.misfit < best.misfit + 1.0)
      spread = std::max(spread, std::abs(fit.gain.db - best.gain.db));
  }
  return Gain{best.gain.db, std::hypot(best.gain.sigma, spread)};
}

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
