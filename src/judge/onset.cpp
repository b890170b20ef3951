// SPDX-License-Identifier: MIT
// Where on the way up clipping begins: from steps to criteria to a verdict.
#include "judge/onset.hpp"

#include <algorithm>
#include <numbers>

#include "judge/onset_criteria.hpp"
#include "judge/onset_step.hpp"
#include "judge/onset_verdict.hpp"

namespace railtap::judge {
namespace {

using criteria::Point;
using measure::MeasuredStep;

constexpr double least_range_db = 1.0;

bool is_tone(Verdict verdict) {
  return verdict == Verdict::clean || verdict == Verdict::clipped ||
         verdict == Verdict::distorted || verdict == Verdict::input_overload;
}

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
        criteria::point_of(steps[i], described[i].verdict, limits.analysis.band.high));
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
  if (points.size() < criteria::least_steps) return false;
  const auto [low, high] =
      std::minmax_element(points.begin(), points.end(),
                          [](const Point& a, const Point& b) { return a.level < b.level; });
  return high->level - low->level >= least_range_db;
}

OnsetPoint point(const criteria::Estimate& estimate, bool input_known, const Limits& limits) {
  OnsetPoint result;
  result.level = Dbfs(estimate.level);
  if (input_known && estimate.input) result.input = Dbfs(*estimate.input);
  if (limits.volts_per_full_scale) {
    result.level_v = *limits.volts_per_full_scale * (sine_peak(result.level) / std::numbers::sqrt2);
  }
  result.uncertainty = Decibels(estimate.sigma);
  return result;
}

}  // namespace

ChannelOnset judge_onset(int channel, const std::vector<MeasuredStep>& steps,
                         const std::optional<LadderInput>& input, Hertz rate,
                         const OnsetLimits& limits) {
  ChannelOnset onset;
  onset.channel = channel;
  for (const MeasuredStep& step : steps) {
    onset.steps.push_back(describe_step(step, rate, input, limits.analysis));
  }
  Working working = gather(steps, onset.steps, input, limits);
  std::vector<criteria::Point>& points = working.points;
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
  const auto gain = input ? criteria::small_signal_gain(points, compression) : std::nullopt;
  const auto given =
      [&](const std::optional<criteria::Estimate>& estimate) -> std::optional<OnsetPoint> {
    if (!estimate) return std::nullopt;
    return point(*estimate, working.input_known, limits.analysis);
  };
  onset.thdn = given(criteria::thdn_onset(points, limits.analysis.thdn.value() / 100.0));
  onset.flat_top = given(criteria::flat_top_onset(points));
  if (gain) onset.compression = given(criteria::compression_onset(points, *gain, compression));
  if (!input) onset.compression = given(criteria::compression_of_law(points, compression));
  if (gain && working.input_known) onset.small_signal_gain = Decibels(gain->db);
  onset.highest_clean_step =
      highest_clean(points, gain ? std::optional(gain->db) : std::nullopt, compression);
  conclude(onset, points, overloaded, limits);
  return onset;
}

}  // namespace railtap::judge
