// SPDX-License-Identifier: MIT
// What the three criteria amount to.
#include "judge/onset_verdict.hpp"

#include <algorithm>
#include <cstdio>
#include <string>

namespace railtap::judge {
namespace {

using criteria::Point;

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

// Steps softer than the highest clean one that are over the limit, by what it is that is over it.
struct SoftSteps {
  int noisy = 0, distorted = 0;
};
SoftSteps soft_steps(const ChannelOnset& onset, const std::vector<Point>& points) {
  SoftSteps soft;
  const auto clean = std::find_if(points.begin(), points.end(), [&](const Point& p) {
    return onset.highest_clean_step && p.index == *onset.highest_clean_step;
  });
  if (clean == points.end()) return soft;
  for (const Point& p : points) {
    if (p.verdict != Verdict::distorted || p.level >= clean->level) continue;
    ++(p.harmonics > p.noise ? soft.distorted : soft.noisy);
  }
  return soft;
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
  const SoftSteps soft = soft_steps(onset, points);
  if (soft.distorted > 0) {
    onset.reasons.push_back(text(
        "%.0f soft steps are over the limit with distortion that louder ones do not have, as an "
        "output stage without enough bias has around zero (crossover distortion).",
        soft.distorted));
  }
  if (soft.noisy > 0) {
    onset.reasons.push_back(text(
        "%.0f soft steps are over the limit with noise, not with distortion: they are too soft "
        "for this recording.",
        soft.noisy));
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

std::optional<int> highest_clean(const std::vector<Point>& points, std::optional<double> gain_db,
                                 double limit_db) {
  for (std::size_t i = points.size(); i > 0; --i) {
    const Point& p = points[i - 1];
    const bool held = !gain_db || p.level - *p.input >= *gain_db - limit_db;
    if (p.verdict == Verdict::clean && held) return p.index;
  }
  return std::nullopt;
}

void conclude(ChannelOnset& onset, const std::vector<Point>& points, bool overloaded,
              const OnsetLimits& limits) {
  onset.verdict = verdict_of(onset, points, overloaded);
  add_reasons(onset, points, overloaded, limits);
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
