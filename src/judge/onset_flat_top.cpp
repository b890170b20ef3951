// SPDX-License-Identifier: MIT
// The onset of clipping by flat tops.
#include <algorithm>
#include <cmath>

#include "judge/onset_criteria.hpp"
#include "judge/onset_law.hpp"

namespace railtap::judge::criteria {
namespace {

struct Touch {  // where the sine of a clipped step would just touch the nearer rail
  Estimate estimate;
  double over;  // dB
};

constexpr double flat_gain = 0.1;  // at the crest: what is called flat, for a knee

Touch corner_touch(const Point& point, const measure::ClippedSineFit& fit) {
  const bool positive = fit.positive.overdrive >= fit.negative.overdrive;
  const auto& side = positive ? fit.positive : fit.negative;
  Touch touch;
  touch.over = side.overdrive.value();
  const auto law = law_of(point);
  touch.estimate = at_ratio(*law, point, std::pow(10.0, -touch.over / 20.0));
  touch.estimate.sigma = std::hypot(side.uncertainty.value(), least_uncertainty_db);
  return touch;
}

// By how much a sine exceeds the amplitude at which the gain at its crest falls to a tenth. From
// gain s = 1/(1 + (A/c)^(1/w)): A/c = (1/s − 1)^w.
double over_knee_db(const measure::RailOverdrive& side, double width) {
  if (side.crest_slope <= 0.0) return side.overdrive.value();  // so narrow that it is a corner
  const double ratio = (1.0 / side.crest_slope - 1.0) / (1.0 / flat_gain - 1.0);
  return 20.0 * width * std::log10(ratio);
}

// From the rail's gain of a half to its gain of a tenth.
double width_db(const measure::ClippedSineFit& fit) {
  return 20.0 * fit.knee * std::log10(1.0 / flat_gain - 1.0);
}

bool is_knee(const Point& point) {
  return point.clip != nullptr && point.clip->explained &&
         point.clip->model == measure::ClipModel::soft_knee;
}

// A knee this wide has a shape of its own, which the model follows no further down than a step:
// in trials the point of a tenth of the gain was off by up to 1.4 dB.
bool is_wide_knee(const Point& point) {
  constexpr double widest_db = 0.5;
  return is_knee(point) && width_db(*point.clip) > widest_db;
}

std::optional<Touch> knee_touch(const Point& point, const measure::ClippedSineFit& fit) {
  constexpr double shape_share = 0.25;  // of its width: what another shape moves
  const auto law = law_of(point);
  if (!law || !(fit.knee > 0.0)) return std::nullopt;
  Touch touch;
  touch.over = 0.0;
  double uncertainty = 0.0;
  for (const auto& side : {fit.positive, fit.negative}) {
    if (!side.flat) continue;
    const double over = over_knee_db(side, fit.knee);
    if (over <= touch.over) continue;
    touch.over = over;
    uncertainty = side.uncertainty.value();
  }
  if (!(touch.over > 0.0)) return std::nullopt;
  touch.estimate = at_ratio(*law, point, std::pow(10.0, -touch.over / 20.0));
  touch.estimate.sigma = std::hypot(uncertainty, least_uncertainty_db, shape_share * width_db(fit));
  return touch;
}

std::optional<Touch> touch_of(const Point& point) {
  if (point.clip == nullptr) return std::nullopt;
  if (is_corner(*point.clip)) return corner_touch(point, *point.clip);
  return is_knee(point) ? knee_touch(point, *point.clip) : std::nullopt;
}

Estimate weighted_mean(const std::vector<Touch>& touches) {
  Estimate mean;
  double weights = 0.0;
  double input = 0.0;
  bool inputs = true;
  for (const Touch& touch : touches) {
    const double weight = 1.0 / (touch.estimate.sigma * touch.estimate.sigma);
    weights += weight;
    mean.level += weight * touch.estimate.level;
    inputs = inputs && touch.estimate.input.has_value();
    input += weight * touch.estimate.input.value_or(0.0);
  }
  mean.level /= weights;
  if (inputs) mean.input = input / weights;
  double scatter = 0.0;
  for (const Touch& touch : touches) {
    const double off = (touch.estimate.level - mean.level) / touch.estimate.sigma;
    scatter += off * off / static_cast<double>(touches.size());
  }
  mean.sigma = std::max(least_uncertainty_db, std::sqrt(std::max(1.0, scatter) / weights));
  return mean;
}

bool is_flat(const Point& p) {
  return p.clip != nullptr && (p.clip->positive.flat || p.clip->negative.flat);
}

// The lowest of the flat points at the top.
std::size_t first_flat(const std::vector<Point>& points) {
  std::size_t first = points.size();
  while (first > 0 && is_flat(points[first - 1])) --first;
  return first;
}

// Between the last step that is not flat and the first that is, where no step has a law.
std::optional<Estimate> between_steps(const std::vector<Point>& points) {
  constexpr double knee_share = 0.5;  // of the step: what the slope of a fitted knee is worth
  const auto slope = [](const Point& p) {
    if (p.clip == nullptr || !p.clip->explained) return 1.0;
    return std::clamp(std::min(p.clip->positive.crest_slope, p.clip->negative.crest_slope), 1e-3,
                      1.0);
  };
  const std::size_t below = first_flat(points);
  if (below == 0 || below == points.size()) return std::nullopt;
  const Point& low = points[below - 1];
  const Point& high = points[below];
  const double a = std::log(slope(low));
  const double b = std::log(std::min(slope(high), flat_gain));
  const double share = std::clamp((std::log(flat_gain) - a) / (b - a), 0.0, 1.0);
  Estimate estimate;
  estimate.level = low.level + share * (high.level - low.level);
  if (low.input && high.input) {
    estimate.input = *low.input + share * (*high.input - *low.input);
    estimate.sigma = knee_share * (*high.input - *low.input);
  } else {
    estimate.sigma = knee_share * (high.level - low.level);
  }
  return estimate;
}

}  // namespace

std::optional<Estimate> flat_top_onset(const std::vector<Point>& points) {
  constexpr std::size_t most_touches = 4;
  constexpr double most_over_db = 6.0;
  // A step that holds two levels, or a click, is flat but no corner; it says nothing about others.
  std::vector<Touch> touches;
  const std::size_t first = first_flat(points);
  if (first < points.size() && is_wide_knee(points[first])) return between_steps(points);
  for (std::size_t i = first; i < points.size() && touches.size() < most_touches; ++i) {
    const auto touch = touch_of(points[i]);
    if (touch && touch->over <= most_over_db) touches.push_back(*touch);
  }
  if (touches.empty()) return between_steps(points);
  if (touches.size() == 1) return touches[0].estimate;
  const double tolerance =
      drift_db + 3.0 * std::hypot(touches[0].estimate.sigma, touches[1].estimate.sigma);
  if (std::abs(touches[0].estimate.level - touches[1].estimate.level) < tolerance)
    return weighted_mean(touches);
  return join(
      touches[0].estimate, touches[1].estimate,
      touches[1].estimate.level + touches[1].over - touches[0].estimate.level - touches[0].over,
      touches[0].over);
}

}  // namespace railtap::judge::criteria
