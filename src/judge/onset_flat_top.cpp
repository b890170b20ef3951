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

std::optional<Touch> touch_of(const Point& point) {
  if (point.clip == nullptr || !is_corner(*point.clip)) return std::nullopt;
  const auto& fit = *point.clip;
  const bool positive = fit.positive.overdrive >= fit.negative.overdrive;
  const auto& side = positive ? fit.positive : fit.negative;
  Touch touch;
  touch.over = side.overdrive.value();
  const auto law = law_of(point);
  touch.estimate = at_ratio(*law, point, std::pow(10.0, -touch.over / 20.0));
  touch.estimate.sigma = std::hypot(side.uncertainty.value(), least_uncertainty_db);
  return touch;
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

// The gain at the crest passes a tenth: what is called flat, for a knee.
std::optional<Estimate> knee_onset(const std::vector<Point>& points) {
  constexpr double flat_slope = 0.1;
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
  const double b = std::log(std::min(slope(high), flat_slope));
  const double share = std::clamp((std::log(flat_slope) - a) / (b - a), 0.0, 1.0);
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
  for (std::size_t i = first_flat(points); i < points.size() && touches.size() < most_touches;
       ++i) {
    const auto touch = touch_of(points[i]);
    if (touch && touch->over <= most_over_db) touches.push_back(*touch);
  }
  if (touches.empty()) return knee_onset(points);
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
