// SPDX-License-Identifier: MIT
// Where on the way up clipping begins.
#include "judge/onset.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <functional>
#include <limits>
#include <numbers>
#include <numeric>

#include "judge/interpolate.hpp"
#include "measure/static_law.hpp"

namespace railtap::judge {
namespace {

using measure::ClipModel;
using measure::ClippedSineFit;
using measure::MeasuredStep;
using measure::StaticLaw;

constexpr double full_scale_sine_mean_square = 0.5;
constexpr Dbfs full_scale_peak{-0.005};
constexpr std::size_t least_steps = 3;
constexpr double least_range_db = 1.0;
// A law that a step's harmonics give must explain the step below it: its distortion within this
// share of the limit, its gain within this many decibels.
constexpr double law_agreement = 0.2;
constexpr double law_gain_agreement_db = 0.02;
constexpr double worst_law_misfit = 0.15;
// The chain's own curvature moves the best of fits by about this much (seen in trials with clean
// chains).
constexpr double least_uncertainty_db = 0.002;
// Estimates of two steps that differ by more than this come from rails that move with the level.
constexpr double drift_db = 0.01;

double level_db(double mean_square) {
  return 10.0 * std::log10(mean_square / full_scale_sine_mean_square);
}

// A step that holds a tone, in the terms that the criteria work with.
struct Point {
  int index = 0;                                           // of the step
  std::optional<double> input;                             // dB: dBFS, or re the first step
  double level = 0.0;                                      // dBFS of fundamental and harmonics
  double fundamental = 0.0, harmonics = 0.0, noise = 0.0;  // mean squares
  double level_sigma = 0.0;                                // dB
  std::size_t orders = 1;                                  // in the band
  const measure::HarmonicSeries* series = nullptr;
  const ClippedSineFit* clip = nullptr;
  Verdict verdict = Verdict::clean;
  [[nodiscard]] double thdn_squared() const {
    return (harmonics + noise) / (fundamental + harmonics + noise);
  }
};

// What steps are ordered by and interpolated on: the input, or the level where there is none.
double axis(const Point& point) {
  return point.input ? *point.input : point.level;
}

// A level found by one way of working.
struct Estimate {
  std::optional<double> input;  // dB, as Point::input
  double level = 0.0;           // dBFS
  double sigma = 0.0;           // dB
};

Findings findings_of(const MeasuredStep& measured, Hertz rate, const Limits& limits) {
  measure::Segment segment;
  segment.first_frame = measured.step.inner_first;
  segment.end_frame = measured.step.inner_end;
  segment.figures = measured.figures;
  segment.measurement = measured.block;
  segment.clip = measured.clip;
  segment.blocks = 1;
  measure::ChannelRecording recording;
  recording.figures = measured.figures;
  recording.full_scale = measured.full_scale;
  recording.flat = measured.flat;
  if (measured.block.frames > 0) recording.segments.push_back(std::move(segment));
  return judge_channel(1, recording, rate, limits).findings;
}

OnsetStep describe(const MeasuredStep& measured, Hertz rate,
                   const std::optional<LadderInput>& input, const Limits& limits) {
  OnsetStep step;
  step.index = measured.step.index + 1;
  step.start = Seconds(static_cast<double>(measured.step.first) / rate.value());
  step.end = Seconds(static_cast<double>(measured.step.end) / rate.value());
  const Findings findings = findings_of(measured, rate, limits);
  step.verdict = findings.verdict;
  // A rail that lies at digital full scale is the recording's own, even where it is touched so
  // lightly that a clean sine could do the same.
  if (findings.verdict == Verdict::clipped && findings.peak && *findings.peak >= full_scale_peak)
    step.verdict = Verdict::input_overload;
  step.level = findings.level;
  step.level_v = findings.level_v;
  step.thdn = findings.thdn;
  step.overdrive_positive = findings.flat_top.overdrive_positive;
  step.overdrive_negative = findings.flat_top.overdrive_negative;
  if (input && input->first) step.input = *input->first + input->rise * measured.step.index;
  if (step.input && measured.block.tone) {
    const double tone = level_db(measured.block.fundamental + measured.block.harmonics);
    step.gain = Decibels(tone - step.input->value());
  }
  return step;
}

bool is_tone(Verdict verdict) {
  return verdict == Verdict::clean || verdict == Verdict::clipped ||
         verdict == Verdict::distorted || verdict == Verdict::input_overload;
}

Point point_of(const MeasuredStep& measured, Verdict verdict, double band_high) {
  const auto& block = measured.block;
  Point point;
  point.index = measured.step.index + 1;
  point.level = level_db(block.fundamental + block.harmonics);
  point.fundamental = block.fundamental;
  point.harmonics = block.harmonics;
  point.noise = std::max(0.0, block.residual - block.harmonics);
  point.level_sigma =
      20.0 / std::numbers::ln10 * block.series.sigma[0] / std::sqrt(2.0 * block.fundamental);
  const double orders = std::floor(band_high / block.series.fundamental.value() + 1e-9);
  point.orders =
      std::clamp<std::size_t>(static_cast<std::size_t>(orders), 1, block.series.phasor.size());
  point.series = &block.series;
  point.clip = measured.clip ? &*measured.clip : nullptr;
  point.verdict = verdict;
  return point;
}

// --- laws -----------------------------------------------------------------------------------

bool is_corner(const ClippedSineFit& fit) {
  return fit.explained && (fit.positive.flat || fit.negative.flat) &&
         (fit.model == ClipModel::hard || fit.model == ClipModel::hard_two_poles ||
          fit.model == ClipModel::hard_low_pass);
}

double rail(const ClippedSineFit& fit, const measure::RailOverdrive& side) {
  if (side.overdrive.value() <= 0.0) return std::numeric_limits<double>::infinity();
  return fit.amplitude_fs / amplitude_ratio(side.overdrive);
}

// The law of a step; none where its harmonics are not those of a law without memory.
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

// The highest ratio in (low, 1) at which a falling-or-rising `excess` passes 0 from below.
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

// The ratio at which a law gives an output of `level` dBFS.
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

// Estimates from two steps, e1 at v1 and e2 at v2 (inputs): where a line through them meets
// itself, e(v) = v. It is e1 itself where they agree.
double fixed_point(double e1, double v1, double e2, double v2) {
  const double slope = (e1 - e2) / (v1 - v2);
  return (e1 - slope * v1) / (1.0 - slope);
}

// Joins the estimates of the lowest step over the limit and of the one above it.
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

// --- THD+N ----------------------------------------------------------------------------------

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
  result.estimate.sigma = std::hypot(point.level_sigma, least_uncertainty_db,
                                     thdn_sigma(point, below, problem.limit_squared) / slope);
  return result;
}

struct Curve {
  std::vector<double> x, y;
};

template <class Value>
Curve curve_around(const std::vector<Point>& points, std::size_t below, Value value) {
  const std::size_t first = below >= 2 ? below - 2 : 0;
  const std::size_t end = std::min(points.size(), below + 4);
  Curve curve;
  for (std::size_t i = first; i < end; ++i) {
    if (!curve.x.empty() && axis(points[i]) - curve.x.back() < 1e-6) continue;
    curve.x.push_back(axis(points[i]));
    curve.y.push_back(value(points[i]));
  }
  return curve;
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

std::optional<Estimate> thdn_onset(const std::vector<Point>& points, double limit) {
  const double limit_squared = limit * limit;
  std::size_t below = points.size();
  while (below > 0 && points[below - 1].thdn_squared() > limit_squared) --below;
  if (below == 0 || below == points.size()) return std::nullopt;
  const ThdnProblem problem{points, below - 1, limit_squared};
  const auto first = thdn_by_law(problem, below);
  if (!first) return thdn_between(problem);
  if (below + 1 >= points.size()) return first->estimate;
  const auto second = thdn_by_law(problem, below + 1);
  if (!second) return first->estimate;
  const double over = -20.0 * std::log10(first->ratio);
  const double second_over = -20.0 * std::log10(second->ratio);
  return join(first->estimate, second->estimate,
              second->estimate.level + second_over - first->estimate.level - over, over);
}

// --- flat tops ------------------------------------------------------------------------------

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

// --- compression ----------------------------------------------------------------------------

constexpr double gain_known_to_db = 0.004;  // small-signal gain, and the step's own
constexpr double gain_floor_db = 0.003;     // of one step: the chain's own drift

struct Gain {
  double db = 0.0;
  double sigma = 0.0;  // dB
};

// Steps whose gain is worth looking at: those that noise leaves precise, but for one that stands
// out between its neighbours, which was disturbed.
std::vector<const Point*> gain_steps(const std::vector<Point>& points) {
  constexpr double least_precise_db = 0.1;
  constexpr double standing_out_db = 0.03;
  std::vector<const Point*> precise;
  for (const Point& p : points) {
    if (p.level_sigma < least_precise_db) precise.push_back(&p);
  }
  if (precise.size() < least_steps) return {};
  const auto gain = [&](std::size_t i) { return precise[i]->level - *precise[i]->input; };
  std::vector<const Point*> steps;
  for (std::size_t i = 0; i < precise.size(); ++i) {
    const std::size_t first = std::min(i == 0 ? 0 : i - 1, precise.size() - 3);
    const double usual = median({gain(first), gain(first + 1), gain(first + 2)});
    const bool soft = i < (precise.size() + 1) / 2;
    const double off = std::abs(gain(i) - usual);
    if (soft && off > standing_out_db + 3.0 * precise[i]->level_sigma) continue;
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

// The gain of vanishing input. A knee that is soft falls off from the softest step on, like a power
// of the input (the lowest that its law has); a hard one does not, and a high power fits.
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

// Without input levels a limiter cannot be seen, but what a law loses can.
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

// --- the whole --------------------------------------------------------------------------------

struct Working {
  std::vector<Point> points;  // by input, or by level where there is none
  bool input_known = false;   // absolute
};

Working gather(const std::vector<MeasuredStep>& steps, const std::vector<OnsetStep>& described,
               const std::optional<LadderInput>& input, const OnsetLimits& limits) {
  Working working;
  working.input_known = input && input->first;
  for (std::size_t i = 0; i < steps.size(); ++i) {
    if (!steps[i].block.tone || !is_tone(described[i].verdict)) continue;
    working.points.push_back(
        point_of(steps[i], described[i].verdict, limits.analysis.band.high.value()));
    if (input) {
      working.points.back().input =
          input->first.value_or(Dbfs(0.0)).value() + input->rise.value() * steps[i].step.index;
    }
  }
  std::stable_sort(working.points.begin(), working.points.end(),
                   [](const Point& a, const Point& b) { return axis(a) < axis(b); });
  return working;
}

// Steps from the first overload on say nothing about the stage.
bool drop_overloaded(std::vector<Point>& points) {
  const auto first = std::find_if(points.begin(), points.end(), [](const Point& p) {
    return p.verdict == Verdict::input_overload;
  });
  const bool any = first != points.end();
  points.erase(first, points.end());
  return any;
}

bool is_ladder(const std::vector<Point>& points) {
  if (points.size() < least_steps) return false;
  const auto [low, high] =
      std::minmax_element(points.begin(), points.end(),
                          [](const Point& a, const Point& b) { return a.level < b.level; });
  return high->level - low->level >= least_range_db;
}

OnsetPoint point(const Estimate& estimate, bool input_known, const Limits& limits) {
  OnsetPoint result;
  result.level = Dbfs(estimate.level);
  if (input_known && estimate.input) result.input = Dbfs(*estimate.input);
  if (limits.volts_per_full_scale) {
    result.level_v = *limits.volts_per_full_scale * (sine_peak(result.level) / std::numbers::sqrt2);
  }
  result.uncertainty = Decibels(estimate.sigma);
  return result;
}

std::optional<int> highest_clean(const std::vector<Point>& points, std::optional<double> gain,
                                 double limit_db) {
  for (std::size_t i = points.size(); i > 0; --i) {
    const Point& p = points[i - 1];
    const bool held = !gain || p.level - *p.input >= *gain - limit_db;
    if (p.verdict == Verdict::clean && held) return p.index;
  }
  return std::nullopt;
}

std::string text(const char* format, double a, double b = 0.0) {
  char buffer[256];
  std::snprintf(buffer, sizeof buffer, format, a, b);
  return buffer;
}

OnsetVerdict verdict_of(const ChannelOnset& onset, const std::vector<Point>& points,
                        bool overloaded) {
  const bool clipped = std::any_of(points.begin(), points.end(),
                                   [](const Point& p) { return p.verdict == Verdict::clipped; });
  if (onset.flat_top || clipped) return OnsetVerdict::clips;
  if (onset.compression || onset.thdn) return OnsetVerdict::compresses;
  if (overloaded) return OnsetVerdict::input_overload;
  const bool any_clean = onset.highest_clean_step.has_value();
  return any_clean ? OnsetVerdict::clean_throughout : OnsetVerdict::compresses;
}

// Steps below the highest clean one that are over the limit.
int noisy_steps(const ChannelOnset& onset) {
  const auto clean = std::find_if(onset.steps.begin(), onset.steps.end(), [&](const auto& step) {
    return onset.highest_clean_step && step.index == *onset.highest_clean_step;
  });
  if (clean == onset.steps.end()) return 0;
  return static_cast<int>(
      std::count_if(onset.steps.begin(), onset.steps.end(), [&](const auto& step) {
        return step.verdict == Verdict::distorted && step.level < clean->level;
      }));
}

void add_reasons(ChannelOnset& onset, const std::vector<Point>& points, bool overloaded,
                 const OnsetLimits& limits) {
  if (overloaded) {
    onset.reasons.push_back(
        "The recording input is overloaded in the loudest steps, so what lies above them cannot be "
        "told; lower the input level.");
  }
  if (!onset.highest_clean_step) {
    onset.reasons.push_back(text(
        "No step is clean: THD+N is over %.3g %% even in the softest; look for noise, hum or a "
        "fault before the gain is set.",
        limits.analysis.thdn.value()));
  }
  const int noisy = noisy_steps(onset);
  if (noisy > 0) {
    onset.reasons.push_back(text(
        "%.0f soft steps are over the limit with noise, not with distortion: they are too soft "
        "for this recording.",
        noisy));
  }
  if (3.0 * points.front().series->fundamental.value() > limits.analysis.band.high.value()) {
    onset.reasons.push_back(
        "The third harmonic lies above the band, so THD+N cannot see symmetric clipping.");
  }
  if (onset.verdict == OnsetVerdict::compresses && onset.compression && !onset.thdn) {
    onset.reasons.push_back("The level is held back without distortion, as a limiter does.");
  }
}

}  // namespace

ChannelOnset judge_onset(int channel, const std::vector<MeasuredStep>& steps,
                         const std::optional<LadderInput>& input, Hertz rate,
                         const OnsetLimits& limits) {
  ChannelOnset onset;
  onset.channel = channel;
  for (const MeasuredStep& step : steps) {
    onset.steps.push_back(describe(step, rate, input, limits.analysis));
  }
  Working working = gather(steps, onset.steps, input, limits);
  std::vector<Point>& points = working.points;
  const bool overloaded = drop_overloaded(points);
  if (!is_ladder(points)) {
    onset.verdict = overloaded ? OnsetVerdict::input_overload : OnsetVerdict::no_ladder;
    onset.reasons.push_back(
        overloaded ? "The recording input is overloaded from the start; lower the input "
                     "level."
                   : "There are no three steps of different level that hold a steady tone.");
    return onset;
  }
  const double compression = limits.compression.value();
  const auto gain = input ? small_signal_gain(points, compression) : std::nullopt;
  const auto given = [&](const std::optional<Estimate>& estimate) -> std::optional<OnsetPoint> {
    if (!estimate) return std::nullopt;
    return point(*estimate, working.input_known, limits.analysis);
  };
  onset.thdn = given(thdn_onset(points, limits.analysis.thdn.value() / 100.0));
  onset.flat_top = given(flat_top_onset(points));
  if (gain) onset.compression = given(compression_onset(points, *gain, compression));
  if (!input) onset.compression = given(compression_of_law(points, compression));
  if (gain && working.input_known) onset.small_signal_gain = Decibels(gain->db);
  onset.highest_clean_step =
      highest_clean(points, gain ? std::optional(gain->db) : std::nullopt, compression);
  onset.verdict = verdict_of(onset, points, overloaded);
  add_reasons(onset, points, overloaded, limits);
  return onset;
}

const char* name(OnsetVerdict verdict) {
  switch (verdict) {
    case OnsetVerdict::clips:
      return "clips";
    case OnsetVerdict::compresses:
      return "compresses";
    case OnsetVerdict::clean_throughout:
      return "clean-throughout";
    case OnsetVerdict::input_overload:
      return "input-overload";
    case OnsetVerdict::no_ladder:
      return "no-ladder";
  }
  return "no-ladder";
}

}  // namespace railtap::judge
