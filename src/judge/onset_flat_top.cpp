// SPDX-License-Identifier: MIT
// The onset by flat tops: where they begin, and where behind a knee they get flat.

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "judge/onset_criteria.hpp"
#include "judge/onset_turned.hpp"
#include "measure/static_law.hpp"

namespace railtap::judge::criteria {

// The onset of clipping by flat tops.

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

// Where a knee gets flat: from how the tops rise with the input.

namespace {

// The slope between steps closer than this is too uncertain.
constexpr double least_rise_db = 0.2;

double decibels(double ratio) {
  return 20.0 * std::log10(ratio);
}

// A step as input and output of the law.
struct Top {
  const Point* point = nullptr;
  double input = 0.0;  // amplitude re the softest step's
  measure::Crests crests;
  double missing = 0.0;  // of the crest, re the fundamental: orders beyond the band
};

// The corner of the coupling, from the loudest step that has a law.
std::optional<Hertz> coupling_of(const std::vector<Point>& points) {
  for (auto point = points.rbegin(); point != points.rend(); ++point) {
    if (const auto law = law_of(*point)) return law->coupling;
  }
  return std::nullopt;
}

// Input of a step over that of a softer one: as it was fed in, or as the louder one's law has it.
std::optional<double> rise(const Point& low, const Point& high) {
  if (low.input && high.input) return std::pow(10.0, (*high.input - *low.input) / 20.0);
  const auto law = law_of(high);
  const auto ratio = law ? ratio_at(*law, high.orders, low.level) : std::nullopt;
  if (!ratio) return std::nullopt;
  return 1.0 / *ratio;
}

// Where the band ends amid the harmonics, as with a tone of some kHz, they do not hold all of the
// crest; a knee that was fitted to them does. A corner is what so few can be taken for as well.
enum class Cut { by_model, as_it_is };

bool take_crests(Top& top, Hertz coupling, Cut cut) {
  constexpr double most_missing = 0.004;
  constexpr double model_share = 0.1;  // of what is missing: what the model leaves open (trials)
  const Point& point = *top.point;
  top.crests = measure::crests_of(*point.series, point.orders, coupling);
  top.missing = top.crests.sigma / std::sqrt(2.0 * point.fundamental);
  if (top.missing < most_missing || cut == Cut::as_it_is) return true;
  const measure::ClippedSineFit* fit = point.clip;
  if (fit == nullptr || !fit->explained || fit->model != measure::ClipModel::soft_knee)
    return false;
  top.crests.positive = fit->amplitude_fs / amplitude_ratio(fit->positive.overdrive);
  top.crests.negative = fit->amplitude_fs / amplitude_ratio(fit->negative.overdrive);
  top.crests.sigma *= model_share;
  return true;
}

// The steps in order of input, none closer to the one before than the slope needs.
std::vector<Top> tops_of(const std::vector<Point>& points, Hertz coupling, Cut cut) {
  std::vector<Top> tops;
  for (const Point& point : points) {
    Top top;
    top.point = &point;
    top.input = 1.0;
    if (!tops.empty()) {
      const auto louder = rise(*tops.back().point, point);
      if (!louder || decibels(*louder) < least_rise_db) continue;
      top.input = tops.back().input * *louder;
    }
    if (take_crests(top, coupling, cut)) tops.push_back(top);
  }
  return tops;
}

// Mean gain at the crest between two steps, re that of the softest.
struct MeanGain {
  double low, high;  // ln of the inputs
  double gain;
  double sigma;
};

using Side = double measure::Crests::*;

MeanGain mean_gain(const std::vector<Top>& tops, std::size_t i, Side side) {
  const Top& low = tops[i - 1];
  const Top& high = tops[i];
  const double straight = tops[0].crests.*side / tops[0].input * (high.input - low.input);
  MeanGain mean;
  mean.low = std::log(low.input);
  mean.high = std::log(high.input);
  mean.gain = (high.crests.*side - low.crests.*side) / straight;
  mean.sigma = std::hypot(high.crests.sigma, low.crests.sigma) / straight;
  return mean;
}

// The knee as the gain 1/(1 + e^(offset + steepness·ln x)), which is the fitted model's (see
// measure/clipped_sine_model.hpp), here with the steepness that two neighbouring means need.
struct Knee {
  double offset, steepness;
  [[nodiscard]] double gain(double ln_input) const {
    return 1.0 / (1.0 + std::exp(offset + steepness * ln_input));
  }
};

double odds(double gain) {
  constexpr double least = 1e-4;  // noise can make a mean negative, or more than 1
  const double bounded = std::clamp(gain, least, 1.0 - least);
  return std::log((1.0 - bounded) / bounded);
}

double mean_over(const Knee& knee, const MeanGain& range) {
  constexpr int parts = 64;
  const double part = (range.high - range.low) / parts;
  double rise = 0.0;
  double straight = 0.0;
  for (int i = 0; i < parts; ++i) {
    const double at = range.low + (i + 0.5) * part;
    rise += knee.gain(at) * std::exp(at);
    straight += std::exp(at);
  }
  return rise / straight;
}

// ln of the input at which the knee with these two means passes the gain that is called flat. The
// odds in the middles of the two ranges are moved until the means are met.
double flat_input(const MeanGain& first, const MeanGain& second) {
  constexpr int rounds = 30;
  constexpr double most = 12.0;  // of the odds: a gain of 6e-6
  const std::array<const MeanGain*, 2> ranges{&first, &second};
  std::array<double, 2> at{}, odds_there{};
  for (std::size_t i = 0; i < 2; ++i) {
    at[i] = 0.5 * (ranges[i]->low + ranges[i]->high);
    odds_there[i] = odds(ranges[i]->gain);
  }
  Knee knee{};
  for (int round = 0; round < rounds; ++round) {
    knee.steepness = (odds_there[1] - odds_there[0]) / (at[1] - at[0]);
    knee.offset = odds_there[0] - knee.steepness * at[0];
    for (std::size_t i = 0; i < 2; ++i) {
      const double off = odds(ranges[i]->gain) - odds(mean_over(knee, *ranges[i]));
      odds_there[i] = std::clamp(odds_there[i] + off, -most, most);
    }
  }
  return (odds(flat_gain) - knee.offset) / knee.steepness;
}

struct Crossing {
  double ln_input;
  double sigma;       // dB
  std::size_t above;  // the first step with a gain below the flat one's
};

Crossing crossing_between(const MeanGain& first, const MeanGain& second, std::size_t above) {
  constexpr double shape_share = 0.08;  // of the step: what another shape moves (trials)
  const double in_db = 20.0 / std::numbers::ln10;
  Crossing crossing{flat_input(first, second), 0.0, above};
  MeanGain other = first;
  other.gain += first.sigma;
  const double of_first = flat_input(other, second) - crossing.ln_input;
  other = second;
  other.gain += second.sigma;
  const double of_second = flat_input(first, other) - crossing.ln_input;
  crossing.sigma = std::hypot(in_db * of_first, in_db * of_second,
                              shape_share * in_db * (second.high - second.low));
  return crossing;
}

std::optional<Crossing> crossing_of(const std::vector<Top>& tops, Side side) {
  for (std::size_t i = 2; i < tops.size(); ++i) {
    const MeanGain second = mean_gain(tops, i, side);
    if (second.gain >= flat_gain) continue;
    const MeanGain first = mean_gain(tops, i - 1, side);
    return crossing_between(first, second, i);
  }
  return std::nullopt;
}

// One law without memory made both steps: a limiter, or a supply that sags, holds the tops as well.
bool one_law(const Top& low, const Top& high) {
  constexpr double agreement_db = 0.05;
  const auto law = measure::law_of(*high.point->series, high.point->orders);
  const auto there = output_of(law, low.input / high.input, high.point->orders);
  const double missing = decibels(1.0 + high.missing);
  return std::abs(level_db(there.total()) - low.point->level) < agreement_db + missing;
}

std::optional<Estimate> onset_by(const std::vector<Top>& tops) {
  std::optional<Crossing> lowest;
  for (const Side side : {&measure::Crests::positive, &measure::Crests::negative}) {
    const auto crossing = crossing_of(tops, side);
    if (crossing && (!lowest || crossing->ln_input < lowest->ln_input)) lowest = crossing;
  }
  if (!lowest) return std::nullopt;
  const std::size_t end = std::min(lowest->above + 2, tops.size());
  for (std::size_t i = lowest->above; i < end; ++i) {
    if (!one_law(tops[i - 1], tops[i])) return std::nullopt;
  }
  const Top& above = tops[lowest->above];
  const double ratio = std::exp(lowest->ln_input) / above.input;
  if (ratio > 1.0) return std::nullopt;
  const auto law = measure::law_of(*above.point->series, above.point->orders);
  Estimate estimate = at_ratio(law, *above.point, ratio);
  estimate.sigma = std::hypot(lowest->sigma, least_uncertainty_db);
  return estimate;
}

}  // namespace

std::optional<Estimate> knee_onset(const std::vector<Point>& points) {
  const auto coupling = coupling_of(points);
  if (!coupling) return std::nullopt;
  const auto by_model = onset_by(tops_of(points, *coupling, Cut::by_model));
  return by_model ? by_model : onset_by(tops_of(points, *coupling, Cut::as_it_is));
}

}  // namespace railtap::judge::criteria
