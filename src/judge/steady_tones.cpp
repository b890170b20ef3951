// SPDX-License-Identifier: MIT
// The response at steady tones, step by step, and whether a sweep agrees.
#include "judge/steady_tones.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "judge/loopback.hpp"
#include "judge/onset.hpp"
#include "judge/sentence.hpp"
#include "judge/turning.hpp"

namespace railtap::judge {
namespace {

using measure::MeasuredStep;
using measure::ResponsePoint;

// A tone that is further from what was played is another: hum, or a neighbour's.
constexpr double same_tone = 0.01;
// Steps are few but exact. Five determine a level, a corner and a boost.
constexpr std::size_t least_steps = 5;
// Further below the reference, crosstalk and noise are part of what is measured, and sweep and tone
// need not see the same of them.
constexpr Decibels compared_depth{20.0};
// Neighbours of a sweep's points; where one is missing it did not exceed the noise.
constexpr double next_point = 1.04;

bool is_played(const MeasuredStep& step, const SteppedReading& reading) {
  if (!step.block.tone || step.block.series.phasor.empty()) return false;
  const Hertz played = reading.played.frequencies[static_cast<std::size_t>(step.step.index)];
  const double ratio = step.block.series.fundamental / played * reading.clock_ratio;
  return std::abs(ratio - 1.0) < same_tone;
}

// The fundamental over what was played, with the standard uncertainty that noise gives it.
ResponsePoint point_of(const MeasuredStep& step, Dbfs played) {
  constexpr double full_scale_sine = 0.5;  // mean square
  constexpr double decibels_per_neper = 20.0 / std::numbers::ln10;
  const auto& series = step.block.series;
  const Dbfs level(10.0 * std::log10(step.block.fundamental / full_scale_sine));
  const double sigma = series.sigma.empty() ? 0.0 : series.sigma.front();
  return {series.fundamental, level - played, 0.0,
          Decibels(decibels_per_neper * sigma / std::abs(series.phasor.front()))};
}

std::optional<Decibels> swept_at(const std::vector<ResponsePoint>* points, Hertz frequency) {
  if (points == nullptr) return std::nullopt;
  const auto after =
      std::lower_bound(points->begin(), points->end(), frequency,
                       [](const ResponsePoint& p, Hertz hz) { return p.frequency < hz; });
  if (after == points->begin() || after == points->end()) return std::nullopt;
  if (after->frequency / (after - 1)->frequency > next_point) return std::nullopt;
  return between(*points, frequency).magnitude;
}

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const std::size_t middle = values.size() / 2;
  return values.size() % 2 == 1 ? values[middle] : 0.5 * (values[middle - 1] + values[middle]);
}

Decibels highest_of(const std::vector<ResponsePoint>& points) {
  const auto higher = [](const ResponsePoint& a, const ResponsePoint& b) {
    return a.magnitude < b.magnitude;
  };
  return std::max_element(points.begin(), points.end(), higher)->magnitude;
}

Decibels reference_of(const SteadyTones& found, const SweptChannel& swept,
                      const std::vector<ResponsePoint>& points) {
  if (swept.level) return *swept.level;
  return found.filters ? found.filters->level : highest_of(points);
}

void compare_with_sweep(SteadyTones& found, const SweptChannel& swept,
                        const std::vector<ResponsePoint>& points) {
  std::vector<double> differences;
  const Decibels highest = highest_of(points);
  std::size_t at = 0;
  for (SteadyTone& tone : found.tones) {
    if (!tone.response) continue;
    const Hertz frequency = points[at++].frequency;
    const auto swept_there = swept_at(swept.points, frequency);
    if (!swept_there || *tone.response < highest - compared_depth) continue;
    tone.re_sweep = *tone.response - *swept_there;
    differences.push_back(tone.re_sweep->value());
  }
  if (differences.empty()) return;
  found.re_sweep = Decibels(median(differences));
  for (const SteadyTone& tone : found.tones) {
    if (!tone.re_sweep) continue;
    const Decibels off = *tone.re_sweep - *found.re_sweep;
    if (found.most_off && std::abs(off.value()) <= std::abs(found.most_off->magnitude.value()))
      continue;
    found.most_off = ResponsePoint{tone.played, off, 0.0, Decibels(0.0)};
  }
}

// The largest of the overdrives of both rails; 0 without flat tops.
double overdrive_db(const SteadyTone& tone) {
  return larger_overdrive(tone.findings.flat_top).value_or(Decibels(0.0)).value();
}

double thd_percent(const SteadyTone& tone) {
  return tone.response ? tone.findings.thd.value_or(Percent(0.0)).value() : 0.0;
}

template <class Figure>
const SteadyTone* worst_by(const std::vector<const SteadyTone*>& tones, Figure figure) {
  const auto less = [&](const SteadyTone* a, const SteadyTone* b) {
    return figure(*a) < figure(*b);
  };
  const auto worst = std::max_element(tones.begin(), tones.end(), less);
  return worst == tones.end() ? nullptr : *worst;
}

std::vector<const SteadyTone*> with_verdict(const SteadyTones& found, Verdict verdict) {
  std::vector<const SteadyTone*> list;
  for (const SteadyTone& tone : found.tones) {
    if (tone.findings.verdict == verdict) list.push_back(&tone);
  }
  return list;
}

// One sentence of a kind, on the tone that has most of it.
void say_tones(const SteadyTones& found, const SteadyToneLimits& limits, Words& words) {
  const auto clipped = with_verdict(found, Verdict::clipped);
  if (const SteadyTone* worst = worst_by(clipped, overdrive_db)) {
    words.fault(
        sentence("Of the steady tones %.0f have flat tops", static_cast<double>(clipped.size())) +
        sentence(", most at %.3g Hz, %.2f dB over the rail.", worst->played.value(),
                 overdrive_db(*worst)));
  }
  if (!with_verdict(found, Verdict::input_overload).empty())
    words.fault("The steady tones overload the recording input; lower its level.");
  const SteadyTone* worst = worst_by(with_verdict(found, Verdict::distorted), thd_percent);
  if (worst != nullptr && thd_percent(*worst) > limits.distortion.value()) {
    words.fault(sentence("The steady tone of %.3g Hz has harmonics of %.2g %%, without flat tops.",
                         worst->played.value(), thd_percent(*worst)));
  }
}

// The reference that both share drops out of a difference of levels.
void say_agreement(const SteadyTones& found, const SteadyToneLimits& limits, Words& words) {
  if (!found.re_sweep) return;
  const bool same_level = std::abs(found.re_sweep->value()) <= limits.agreement.value();
  const bool same_shape = std::abs(found.most_off->magnitude.value()) <= limits.agreement.value();
  if (!same_level) {
    words.caution(sentence("The steady tones come out %+.1f dB against the sweep: ",
                           found.re_sweep->value()) +
                  "the volume or a gain was changed between the two, or something holds the level "
                  "(a limiter, automatic gain).");
  }
  if (!same_shape) {
    words.caution(sentence("At %.3g Hz steady tone and sweep differ by %+.1f dB",
                           found.most_off->frequency.value(), found.most_off->magnitude.value()) +
                  (same_level ? "" : " more than elsewhere") +
                  ": something reacts to level or to time there, such as a bass processor, a "
                  "loudness that follows the level, or a limiter.");
  }
  if (same_level && same_shape) {
    words.note(
        sentence("Steady bass tones and the sweep agree within %.2f dB.",
                 std::abs(found.re_sweep->value()) + std::abs(found.most_off->magnitude.value())));
  }
}

}  // namespace

measure::Band steady_tone_band(const signal::SteppedSine& played) {
  constexpr double below_lowest = 0.9;
  measure::Band band;
  for (const Hertz frequency : played.frequencies)
    band.low = std::min(band.low, frequency * below_lowest);
  return band;
}

SteadyTones judge_steady_tones(const SteppedReading& reading, const SweptChannel& swept,
                               const electric::SoundInterface* interface,
                               const SteadyToneLimits& limits) {
  SteadyTones found;
  found.level = reading.played.level;
  std::vector<ResponsePoint> points;
  std::vector<std::size_t> with_response;
  for (const MeasuredStep& step : reading.steps) {
    const auto index = static_cast<std::size_t>(step.step.index);
    found.tones.push_back({reading.played.frequencies[index],
                           judge_step(step, reading.rate, limits.analysis),
                           {},
                           {},
                           {}});
    if (!is_played(step, reading)) continue;
    points.push_back(point_of(step, reading.played.level));
    with_response.push_back(found.tones.size() - 1);
  }
  if (points.empty()) return found;
  found.interface_part = take_out(interface, points);
  found.filters = recognise_filters(points, least_steps);
  found.reference = reference_of(found, swept, points);
  for (std::size_t k = 0; k < points.size(); ++k) {
    SteadyTone& tone = found.tones[with_response[k]];
    tone.response = points[k].magnitude;
    tone.relative = points[k].magnitude - *found.reference;
  }
  compare_with_sweep(found, swept, points);
  return found;
}

void say_steady_tones(const SteadyTones& found, const SteadyToneLimits& limits,
                      std::vector<Finding>& to) {
  Words words(to);
  say_tones(found, limits, words);
  say_agreement(found, limits, words);
}

}  // namespace railtap::judge
