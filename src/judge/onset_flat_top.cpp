// SPDX-License-Identifier: MIT
// The onset of clipping by flat tops.
#include <algorithm>
#include <cmath>

#include "judge/onset_criteria.hpp"
#include "judge/onset_turned.hpp"

namespace railtap::judge::criteria {
namespace {

struct Touch {  // where the sine of a clipped step would just touch the nearer rail
  Estimate estimate;
  double over;  // dB
};

Touch corner_touch(const Point& point, const measure::ClippedSineFit& fit) {
  const bool positive = fit.positive.overdrive >= fit.negative.overdrive;
  const auto& side = positive ? fit.positive : fit.negative;
  Touch touch;
  touch.over = side.overdrive.value();
  const auto law = law_of(point);
  touch.estimate = at_ratio(*law, point, std::pow(10.0, -touch.over / 20.0));
  touch.estimate.sigma =
      std::hypot(side.uncertainty.value(), least_uncertainty_db, movement_sigma(point));
  return touch;
}

// By how much a sine exceeds the amplitude at which the gain at its crest falls to a tenth. From
// gain s = 1/(1 + (A/c)^(1/w)): A/c = (1/s − 1)^w.
double over_knee_db(const measure::RailOverdrive& side, double width) {
  if (side.crest_slope <= 0.0) return side.overdrive.value();  // so narrow that it is a corner
  const double ratio = (1.0 / side.crest_slope - 1.0) / (1.0 / flat_gain - 1.0);
  return 20.0 * width * std::log10(ratio);
}

// A knee with a shape of its own, which the model does not follow down to a gain of a tenth.
bool has_shape(const Point& point) {
  return is_knee(point) && !point.rounded_corner && width_db(*point.clip) > widest_corner_db(point);
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
  touch.estimate.sigma = std::hypot(std::hypot(uncertainty, movement_sigma(point)),
                                    least_uncertainty_db, shape_share * width_db(fit));
  return touch;
}

std::optional<Touch> touch_of(const Point& point) {
  if (point.clip == nullptr) return std::nullopt;
  if (is_corner(point)) return corner_touch(point, *point.clip);
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

// Far over a rail, but in so short a slice that its few harmonics could as well be another law's.
bool is_far_over(const Point& p) {
  constexpr double far_db = 1.0;
  if (p.input || p.clip == nullptr || !p.clip->explained) return false;
  const auto far = [](const measure::RailOverdrive& side) {
    return side.overdrive.value() >= far_db && side.crest_slope < flat_gain;
  };
  return far(p.clip->positive) || far(p.clip->negative);
}

// The lowest of the flat points at the top.
std::size_t first_flat(const std::vector<Point>& points) {
  std::size_t first = points.size();
  while (first > 0 && (is_flat(points[first - 1]) || is_far_over(points[first - 1]))) --first;
  while (first < points.size() && !is_flat(points[first])) ++first;
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

// The first flat step has a knee, or most of the lowest have: the few harmonics of a tone of some
// kHz can take one for the other.
bool is_knee_at(const std::vector<Point>& points, std::size_t first, std::size_t count) {
  const std::size_t end = std::min(points.size(), first + count);
  int more_knees = 0;
  for (std::size_t i = first; i < end; ++i) {
    if (points[i].clip == nullptr) continue;
    more_knees += has_shape(points[i]) ? 1 : 0;
    more_knees -= is_corner(points[i]) ? 1 : 0;
  }
  return more_knees > 0 || (first < end && has_shape(points[first]));
}

constexpr std::size_t most_touches = 4;

std::vector<Touch> touches_of(const std::vector<Point>& points, std::size_t first) {
  constexpr double most_over_db = 6.0;
  // A step that holds two levels, or a click, is flat but no corner; nothing follows for others.
  std::vector<Touch> touches;
  for (std::size_t i = first; i < points.size() && touches.size() < most_touches; ++i) {
    const auto touch = touch_of(points[i]);
    if (touch && touch->over <= most_over_db) touches.push_back(*touch);
  }
  return touches;
}

bool agree(const Touch& a, const Touch& b) {
  const double tolerance = drift_db + 3.0 * std::hypot(a.estimate.sigma, b.estimate.sigma);
  return std::abs(a.estimate.level - b.estimate.level) < tolerance;
}

// What a corner cannot be: a step above it that is not flat, but has a knee.
bool is_contradicted(const Touch& touch, const std::vector<Point>& points, std::size_t first) {
  constexpr double least_over_db = 0.1;
  return first > 0 && is_knee(points[first - 1]) &&
         points[first - 1].level > touch.estimate.level + least_over_db;
}

// Steps that disagree see a knee as corners, or rails that move with the level.
bool is_corner_throughout(const std::vector<Touch>& touches, const std::vector<Point>& points,
                          std::size_t first) {
  return !is_contradicted(touches[0], points, first) &&
         (touches.size() == 1 || agree(touches[0], touches[1]));
}

Estimate corner_onset(const std::vector<Touch>& touches) {
  const Touch& low = touches[0];
  if (touches.size() == 1) return low.estimate;
  const Touch& high = touches[1];
  if (agree(low, high)) return weighted_mean(touches);
  const double distance = high.estimate.level + high.over - low.estimate.level - low.over;
  constexpr double least_distance_db = 0.4;  // closer points of a turn show no drift
  if (!low.estimate.input && distance < least_distance_db) return weighted_mean(touches);
  return join(low.estimate, high.estimate, distance, low.over);
}

}  // namespace

std::optional<Estimate> flat_top_onset(const std::vector<Point>& points) {
  const std::size_t first = first_flat(points);
  const std::vector<Touch> touches = touches_of(points, first);
  const bool knee = touches.empty() || is_knee_at(points, first, most_touches);
  if (first < points.size() && (knee || !is_corner_throughout(touches, points, first))) {
    if (const auto by_tops = knee_onset(points)) return by_tops;
  }
  return knee ? between_steps(points) : corner_onset(touches);
}

}  // namespace railtap::judge::criteria
