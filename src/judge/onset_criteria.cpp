// SPDX-License-Identifier: MIT
// What the criteria of onset share: steps as points, interpolation between them, the law of one
// step.
#include "judge/onset_criteria.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "judge/onset_turned.hpp"

namespace railtap::judge {
namespace {

double secant(std::span<const double> x, std::span<const double> y, std::size_t i) {
  return (y[i + 1] - y[i]) / (x[i + 1] - x[i]);
}

double slope_at(std::span<const double> x, std::span<const double> y, std::size_t i) {
  const std::size_t last = x.size() - 1;
  if (last == 1 || i == 0) return secant(x, y, 0);
  if (i == last) return secant(x, y, last - 1);
  const double before = secant(x, y, i - 1);
  const double after = secant(x, y, i);
  if (before * after <= 0.0) return 0.0;
  const double w1 = 2.0 * (x[i + 1] - x[i]) + (x[i] - x[i - 1]);
  const double w2 = (x[i + 1] - x[i]) + 2.0 * (x[i] - x[i - 1]);
  return (w1 + w2) / (w1 / before + w2 / after);
}

}  // namespace

double monotone_cubic(std::span<const double> x, std::span<const double> y, double at) {
  at = std::clamp(at, x.front(), x.back());
  std::size_t i = 0;
  while (i + 2 < x.size() && at > x[i + 1]) ++i;
  const double length = x[i + 1] - x[i];
  const double t = (at - x[i]) / length;
  const double d0 = slope_at(x, y, i) * length;
  const double d1 = slope_at(x, y, i + 1) * length;
  const double rise = y[i + 1] - y[i];
  return y[i] + t * (d0 + t * (3.0 * rise - 2.0 * d0 - d1 + t * (d0 + d1 - 2.0 * rise)));
}

double bisect(const std::function<double(double)>& f, double low, double high) {
  for (int i = 0; i < 30; ++i) {
    const double middle = 0.5 * (low + high);
    (f(middle) < 0.0 ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

}  // namespace railtap::judge

namespace railtap::judge::criteria {
namespace {

constexpr double full_scale_sine_mean_square = 0.5;

// How far the input moves over a slice. Over a rail by o dB, the fundamental of a clipped sine
// rises by about 1/(1 + 1.2·o) dB for each dB (from its closed form, within 15 % up to 6 dB).
double moved_db(const measure::MeasuredStep& measured) {
  constexpr double per_db_over = 1.2;
  double over = 0.0;
  if (measured.clip && measured.clip->explained) {
    over = std::min(measured.clip->positive.overdrive, measured.clip->negative.overdrive).value();
  }
  return std::abs(measured.step.rise_db) * (1.0 + per_db_over * over);
}

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
  point.own_noise = point.noise;
  point.rise_db = measured.step.gliding ? measured.step.rise_db : 0.0;
  point.moved_db = moved_db(measured);
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

double movement_sigma(const Point& point) {
  constexpr double share = 0.012;  // of the movement: what is beyond its second order (trials)
  return share * point.moved_db;
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

bool is_knee(const Point& point) {
  const ClippedSineFit* fit = point.clip;
  return fit != nullptr && fit->explained && fit->model == ClipModel::soft_knee;
}

double width_db(const ClippedSineFit& fit) {
  return 20.0 * fit.knee * std::log10(1.0 / flat_gain - 1.0);
}

bool is_corner(const Point& point) {
  if (point.clip == nullptr) return false;
  const ClippedSineFit& fit = *point.clip;
  if (!fit.explained) return false;
  if (point.rounded_corner) return true;
  if (!(fit.positive.flat || fit.negative.flat)) return false;
  return fit.model == ClipModel::hard || fit.model == ClipModel::hard_two_poles ||
         fit.model == ClipModel::hard_low_pass;
}

namespace {

// Noise may let a corner be fitted as a knee that is too narrow to be one. The series of so sharp a
// bend ends far too early to say where it begins.
bool is_narrow_knee(const Point& point) {
  return is_knee(point) && point.moved_db == 0.0 &&
         (point.clip->positive.flat || point.clip->negative.flat) &&
         width_db(*point.clip) <= widest_corner_db(point);
}

}  // namespace

std::optional<StaticLaw> law_of(const Point& point) {
  if (is_corner(point) || is_narrow_knee(point)) {
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

// Where on the way up the recording input comes to its own limit.

namespace {

bool is_overloaded(const Point& point) {
  return point.verdict == Verdict::input_overload;
}

// In the middle of the range in which it lies; evenly distributed, so a standard deviation is the
// range over √12 (JCGM 100:2008, 4.3.7).
Estimate between(const Point& low, const Point& high) {
  Estimate estimate;
  estimate.level = 0.5 * (low.level + high.level);
  if (low.input && high.input) estimate.input = 0.5 * (*low.input + *high.input);
  estimate.sigma = (high.level - low.level) / std::sqrt(12.0);
  return estimate;
}

}  // namespace

std::optional<Estimate> input_onset(const std::vector<Point>& points) {
  constexpr double close_db = 0.1;
  const auto first = std::find_if(points.begin(), points.end(), is_overloaded);
  if (first == points.end()) return std::nullopt;
  const auto flat_before = std::find_if(points.begin(), first, [](const Point& p) {
    return p.clip != nullptr && (p.clip->positive.flat || p.clip->negative.flat);
  });
  // What clips before it would be taken for it.
  if (flat_before == first) {
    const auto estimate = flat_top_onset(points);
    const bool above =
        estimate && (first == points.begin() || estimate->level > (first - 1)->level - close_db);
    if (above && estimate->level < first->level + close_db) return estimate;
  }
  if (first == points.begin()) return std::nullopt;
  return between(*(first - 1), *first);
}

}  // namespace railtap::judge::criteria
