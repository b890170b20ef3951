// SPDX-License-Identifier: MIT
// What is special about steps of a level that a hand turns.
#include "judge/onset_turned.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <optional>
#include <span>

#include "measure/kernels.hpp"
#include "measure/shared_law.hpp"

namespace railtap::judge {
namespace {

using measure::MeasuredStep;

double level_of(const MeasuredStep& step) {
  return criteria::level_db(step.block.fundamental + step.block.harmonics);
}

std::optional<Way> own_way(const measure::Step& step) {
  if (!step.gliding || std::abs(step.rise_db) < least_move_db) return std::nullopt;
  return step.rise_db > 0.0 ? Way::up : Way::down;
}

}  // namespace

std::vector<Way> ways_of(const std::vector<MeasuredStep>& steps) {
  std::vector<Way> ways;
  std::optional<Way> way;
  std::optional<double> reached;  // the last level that differed
  bool known = false;
  for (const MeasuredStep& step : steps) {
    if (step.block.tone) {
      const double level = level_of(step);
      const double moved = reached ? level - *reached : 0.0;
      if (std::abs(moved) >= least_move_db) way = moved > 0.0 ? Way::up : Way::down;
      if (const auto own = own_way(step.step)) way = own;
      if (!reached || std::abs(moved) >= least_move_db) reached = level;
    }
    if (way && !known) {
      ways.assign(ways.size(), *way);  // the first ones are left that way
      known = true;
    }
    ways.push_back(way.value_or(Way::up));
  }
  return ways;
}

namespace criteria {
namespace {

// Far enough over its rail that a corner can be told from a knee.
bool is_over(const Point& point) {
  constexpr double least_over_db = 0.2;
  if (point.clip == nullptr || !point.clip->explained) return false;
  return std::max(point.clip->positive.overdrive, point.clip->negative.overdrive).value() >=
         least_over_db;
}

bool bends(const Point& point) {
  return (is_knee(point) || is_corner(point)) && is_over(point);
}

}  // namespace

double widest_corner_db(const Point& point) {
  constexpr double standing_db = 0.05;
  constexpr double moving_share = 0.25;  // of the movement (trials)
  constexpr double most_moved_db = 1.2;
  return standing_db + moving_share * std::min(point.moved_db, most_moved_db);
}

void settle_noise(std::vector<Point>& points) {
  constexpr std::size_t softer = 3;
  for (std::size_t i = 0; i < points.size(); ++i) {
    if (points[i].moved_db == 0.0) continue;
    for (std::size_t k = i > softer ? i - softer : 0; k < i; ++k) {
      points[i].noise = std::min(points[i].noise, points[k].noise);
    }
  }
}

void settle_corners(std::vector<Point>& points) {
  constexpr std::size_t lowest = 6;
  std::vector<double> widths;  // re the widest that a corner may have
  for (const Point& p : points) {
    if (widths.size() < lowest && bends(p)) {
      widths.push_back(is_corner(p) ? 0.0 : width_db(*p.clip) / widest_corner_db(p));
    }
  }
  if (widths.empty()) return;
  const auto middle = widths.begin() + static_cast<std::ptrdiff_t>(widths.size() / 2);
  std::nth_element(widths.begin(), middle, widths.end());
  for (Point& p : points) {
    p.rounded_corner = p.moved_db > 0.0 && *middle <= 1.0 && (is_knee(p) || is_over(p));
  }
}

namespace {

std::vector<double> noise_of(std::span<const Point> some) {
  std::vector<double> noise;
  for (const Point& p : some) noise.push_back(p.own_noise);
  return noise;
}

// For many of them may be disturbed, too. \param values one or more
double lower_quartile(std::vector<double> values) {
  const auto quartile = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 4);
  std::nth_element(values.begin(), quartile, values.end());
  return *quartile;
}

// The usual noise of the steps around one in level. Of a known input, that of the noisier of both
// sides, the softer and the louder steps: a stage that gets noisy where it clips has quiet steps on
// one side only.
double usual_noise(const std::vector<Point>& points, std::size_t at) {
  constexpr std::size_t reach = 6;
  const std::span<const Point> all(points);
  const std::size_t softer = std::min(at, reach);
  auto below = noise_of(all.subspan(at - softer, softer));
  const auto above = noise_of(all.subspan(at + 1, std::min(points.size() - at - 1, reach)));
  if (points[at].input) {
    if (below.empty() || above.empty()) return points[at].own_noise;
    return std::max(lower_quartile(below), lower_quartile(above));
  }
  below.insert(below.end(), above.begin(), above.end());
  return below.empty() ? points[at].own_noise : lower_quartile(below);
}

// The medians of a value in the first and in the last third of what is in order.
struct Thirds {
  double first, last;
};

template <class Item, class Value>
Thirds thirds_of(const std::vector<Item>& items, const Value& value) {
  const std::size_t third = items.size() / 3;
  const auto usual = [&](std::size_t first) {
    std::vector<double> values;
    for (std::size_t i = first; i < first + third; ++i) values.push_back(value(items[i]));
    return measure::median(std::move(values));
  };
  return {usual(0), usual(items.size() - third)};
}

}  // namespace

std::vector<int> disturbed_steps(const std::vector<Point>& points, double limit) {
  // 10 dB and 4 dB: noise alone scatters by 1 or 2 dB from slice to slice, by less from step to
  // step.
  constexpr double far_more_than_a_slice = 10.0, far_more_than_a_step = 2.5;
  constexpr double share_of_limit = 0.3;  // what a corner leaves in a slice stays below it (trials)
  std::vector<int> disturbed;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const Point& p = points[i];
    const double counts = share_of_limit * share_of_limit * limit * limit * p.fundamental;
    const double far_more = p.input ? far_more_than_a_step : far_more_than_a_slice;
    if (p.own_noise > counts && p.own_noise > far_more * usual_noise(points, i))
      disturbed.push_back(p.index);
  }
  return disturbed;
}

std::optional<double> noise_fall(std::vector<Point> points) {
  constexpr std::size_t least_in_a_third = 5;
  constexpr double least_db = 6.0;  // of two medians: slices of 40 ms scatter by 1 or 2 dB each
  if (points.size() / 3 < least_in_a_third) return std::nullopt;
  std::sort(points.begin(), points.end(),
            [](const Point& a, const Point& b) { return a.index < b.index; });
  const Thirds noise = thirds_of(points, [](const Point& p) { return p.own_noise; });
  const Thirds level = thirds_of(points, [](const Point& p) { return p.level; });
  if (!(level.last > level.first) || !(noise.first > 0.0 && noise.last > 0.0)) return std::nullopt;
  const double fall_db = 10.0 * std::log10(noise.first / noise.last);
  return fall_db >= least_db ? std::optional(fall_db) : std::nullopt;
}

namespace {

// dB. The level over the rail, and the overdrive: what is known of a cut sine.
struct OverRail {
  double level, level_over_rail, overdrive;
};

OverRail over_rail_of(const Point& p) {
  const double overdrive = std::max(p.clip->positive.overdrive, p.clip->negative.overdrive).value();
  const double rail = 20.0 * std::log10(p.clip->amplitude_fs) - overdrive;
  return {p.level, p.level - rail, overdrive};
}

}  // namespace

std::optional<double> flatter_at_one_level(const std::vector<Point>& points) {
  constexpr std::size_t least_in_a_third = 2;
  constexpr double least_rise_db = 0.4;  // a sine 0.9 dB over both rails has it (closed form)
  // A supply that gives way takes less of it (common practice); a compressor of 4:1 leaves as much.
  constexpr double held_share = 0.3;
  std::vector<OverRail> cuts;
  for (const Point& p : points)
    if (is_over(p)) cuts.push_back(over_rail_of(p));
  if (cuts.size() / 3 < least_in_a_third) return std::nullopt;
  std::sort(cuts.begin(), cuts.end(),
            [](const OverRail& a, const OverRail& b) { return a.overdrive < b.overdrive; });
  const auto rise = [&](double OverRail::*value) {
    const Thirds of = thirds_of(cuts, [=](const OverRail& cut) { return cut.*value; });
    return of.last - of.first;
  };
  const double expected = rise(&OverRail::level_over_rail);
  if (expected < least_rise_db || rise(&OverRail::level) > held_share * expected)
    return std::nullopt;
  return rise(&OverRail::overdrive);
}

namespace {

struct Range {
  double low = 0.0, high = 0.0;
  int values = 0;

  void add(double value) {
    low = values == 0 ? value : std::min(low, value);
    high = values == 0 ? value : std::max(high, value);
    ++values;
  }
  [[nodiscard]] double width() const { return high - low; }
};

}  // namespace

std::optional<double> moved_behind(const std::vector<Point>& points) {
  constexpr int least_points = 4;
  constexpr double least_moved_db = 2.0;
  // In front of the stage the overdrive moves by more than the level does, since a rail holds it.
  constexpr double steady_share = 0.1;
  Range level, over;
  for (const Point& p : points) {
    if (!is_over(p)) return std::nullopt;
    level.add(p.level);
    over.add(std::max(p.clip->positive.overdrive, p.clip->negative.overdrive).value());
  }
  const bool moved = level.values >= least_points && level.width() >= least_moved_db;
  if (!moved || over.width() > steady_share * level.width()) return std::nullopt;
  return level.width();
}

// The onset of a level that is turned by hand, by the one law that explains all its steps.

namespace {

using measure::LawTone;
using measure::SharedLaw;
using measure::SharedLawOutput;

std::vector<LawTone> loudest_first(const std::vector<Point>& points) {
  std::vector<LawTone> tones;
  for (auto point = points.rbegin(); point != points.rend(); ++point)
    tones.push_back({point->series, point->orders, point->rise_db});
  return tones;
}

// The input at which a criterion is met; none where it is not.
using InputOf = std::function<std::optional<double>(const SharedLaw&, const SharedLawOutput&)>;

std::optional<double> level_at(const SharedLaw& law, std::size_t orders, const InputOf& input_of) {
  const SharedLawOutput output(law, orders);
  const auto input = input_of(law, output);
  if (!input || *input > law.highest_input) return std::nullopt;
  return level_db(output.at(*input).total());
}

// What a knee of another shape that fits as well moves, dB: a share of the range over which the
// gain at the crest falls from nine tenths to one, of narrow knees more than of wide ones (trials).
double shape_sigma(const SharedLaw& law) {
  constexpr double share = 0.02;
  constexpr double widest_db = 3.0;
  if (law.corner) return 0.0;
  const double range_db =
      20.0 * std::log10(input_at_slope(law, flat_gain) / input_at_slope(law, 1.0 - flat_gain));
  return share * std::min(range_db, widest_db);
}

std::optional<Estimate> estimate_of(const SharedLaw& law, std::size_t orders,
                                    const InputOf& input_of) {
  constexpr std::size_t n = SharedLaw::parameters;
  constexpr double probe = -0.002;  // downwards: a corner is the hardest knee that there is
  const auto level = level_at(law, orders, input_of);
  if (!level) return std::nullopt;
  std::array<double, n> slope{};
  for (std::size_t p = 0; p < n; ++p) {
    SharedLaw moved = law;
    moved.at[p] += probe;
    slope[p] = (level_at(moved, orders, input_of).value_or(*level) - *level) / probe;
  }
  const double shape = shape_sigma(law);
  double variance = least_uncertainty_db * least_uncertainty_db + shape * shape;
  for (std::size_t p = 0; p < n; ++p) {
    for (std::size_t q = 0; q < n; ++q) variance += slope[p] * slope[q] * law.covariance[p * n + q];
  }
  return Estimate{std::nullopt, *level, std::sqrt(variance)};
}

// Turns down from the highest input until the criterion is no longer met, and meets it from there.
// \param excess of the ratio to the highest input, < 0 below the criterion
std::optional<double> input_passing(const SharedLaw& law,
                                    const std::function<double(double)>& excess) {
  constexpr double least_ratio = 0.02;  // what is softer than that is noise
  constexpr double step = 0.97;
  double low = 1.0;
  while (low > least_ratio && excess(low) >= 0.0) low *= step;
  const auto ratio = crossing(excess, low);
  if (!ratio) return std::nullopt;
  return *ratio * law.highest_input;
}

// Median of the points up to the loudest within the limit, whether they are within it or not: to
// choose those that are would choose the least noise.
double noise_below(const std::vector<Point>& points, double limit) {
  constexpr std::size_t most = 9;
  std::size_t end = points.size();
  while (end > 1 && points[end - 1].thdn_squared() > limit * limit) --end;
  std::vector<double> noise;
  for (std::size_t i = end; i > 0 && noise.size() < most; --i) {
    noise.push_back(points[i - 1].own_noise);
  }
  return measure::median(noise);
}

std::optional<Estimate> thdn_with(const SharedLaw& law, std::size_t orders, double noise,
                                  double limit) {
  return estimate_of(law, orders, [&](const SharedLaw& at, const SharedLawOutput& output) {
    return input_passing(at, [&](double ratio) {
      const auto out = output.at(ratio * at.highest_input);
      const double rest = out.harmonics + noise;
      return rest / (out.fundamental + rest) - limit * limit;
    });
  });
}

std::optional<Estimate> thdn_of(const SharedLaw& law, const std::vector<Point>& points,
                                double limit) {
  constexpr double noise_known_to = 0.03;
  const std::size_t orders = points.back().orders;
  const double noise = noise_below(points, limit);
  auto estimate = thdn_with(law, orders, noise, limit);
  if (!estimate) return std::nullopt;
  if (const auto noisier = thdn_with(law, orders, noise * (1.0 + noise_known_to), limit)) {
    estimate->sigma = std::hypot(estimate->sigma, noisier->level - estimate->level);
  }
  return estimate;
}

std::optional<Estimate> flat_top_of(const SharedLaw& law, std::size_t orders) {
  auto estimate = estimate_of(law, orders, [](const SharedLaw& at, const SharedLawOutput&) {
    return std::optional(input_at_slope(at, flat_gain));
  });
  constexpr double half = 0.5;  // the knee that the corner may be is as likely at either end
  if (estimate && law.corner) estimate->sigma = std::hypot(estimate->sigma, half * law.knee_db);
  return estimate;
}

std::optional<Estimate> compression_of(const SharedLaw& law, std::size_t orders, double limit_db) {
  constexpr double soft = 1e-3;  // of the nearer rail: where the law is straight
  return estimate_of(law, orders, [&](const SharedLaw& at, const SharedLawOutput& output) {
    const auto gain_db = [&](double input) {
      return level_db(output.at(input).total()) - 20.0 * std::log10(input);
    };
    const double straight = gain_db(soft * input_at_slope(at, 0.9));
    return input_passing(
        at, [&](double ratio) { return straight - limit_db - gain_db(ratio * at.highest_input); });
  });
}

}  // namespace

namespace {

using EstimateOf = std::function<std::optional<Estimate>(const SharedLaw&)>;

// By the best law; how far others that may be are from it is uncertain.
std::optional<Estimate> by_laws(const std::vector<SharedLaw>& laws, const EstimateOf& estimate_of) {
  auto best = estimate_of(laws[0]);
  if (!best) return std::nullopt;
  double weights = 0.0;
  double spread = 0.0;
  for (const SharedLaw& law : laws) {
    weights += law.likelihood;
    if (const auto other = estimate_of(law))
      spread += law.likelihood * (other->level - best->level) * (other->level - best->level);
  }
  best->sigma = std::hypot(best->sigma, std::sqrt(spread / weights));
  return best;
}

}  // namespace

std::optional<SharedLawOnset> shared_law_onset(const std::vector<Point>& points, double thdn_limit,
                                               double compression_db) {
  constexpr double most_misfit = 4.0;
  const auto laws = measure::fit_shared_laws(loudest_first(points));
  if (laws.empty() || laws[0].misfit > most_misfit) return std::nullopt;
  const std::size_t orders = points.back().orders;
  constexpr double shape_misfit = 2.0;  // noise alone, and an uneven turn, leave less (trials)
  const auto by = [&](const EstimateOf& of) { return by_laws(laws, of); };
  SharedLawOnset onset;
  onset.thdn = by([&](const SharedLaw& law) { return thdn_of(law, points, thdn_limit); });
  onset.flat_top = by([&](const SharedLaw& law) { return flat_top_of(law, orders); });
  onset.compression =
      by([&](const SharedLaw& law) { return compression_of(law, orders, compression_db); });
  onset.other_shape = laws[0].misfit > shape_misfit;
  constexpr double far_from_flat = 2.0 * flat_gain;
  onset.still_rising = slope_at(laws[0], laws[0].highest_input) > far_from_flat;
  return onset;
}

}  // namespace criteria

}  // namespace railtap::judge
