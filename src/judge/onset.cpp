// SPDX-License-Identifier: MIT
// From measured steps to where a stage begins to clip: each step judged, the criteria, the verdict.
#include "judge/onset.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <string>

#include "judge/onset_criteria.hpp"
#include "judge/onset_turned.hpp"
#include "units/print.hpp"

namespace railtap::judge {
namespace {

using criteria::Point;
using measure::MeasuredStep;

constexpr Dbfs full_scale_peak{-0.005};

}  // namespace

Findings judge_step(const MeasuredStep& measured, Hertz rate, const Limits& limits) {
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
  Findings findings = judge_channel(1, recording, rate, limits).findings;
  // A rail that lies at digital full scale is the recording's own, even where it is touched so
  // lightly that a clean sine could do the same.
  if (findings.verdict == Verdict::clipped && findings.peak && *findings.peak >= full_scale_peak)
    findings.verdict = Verdict::input_overload;
  return findings;
}

OnsetStep describe_step(const MeasuredStep& measured, Hertz rate,
                        const std::optional<LadderInput>& input, const Limits& limits) {
  OnsetStep step;
  step.index = measured.step.index + 1;
  step.start = Seconds(static_cast<double>(measured.step.first) / rate.value());
  step.end = Seconds(static_cast<double>(measured.step.end) / rate.value());
  const Findings findings = judge_step(measured, rate, limits);
  step.moving = std::abs(measured.step.rise_db) >= least_move_db;
  step.verdict = findings.verdict;
  step.level = findings.level;
  step.level_v = findings.level_v;
  step.thdn = findings.thdn;
  step.overdrive_positive = findings.flat_top.overdrive_positive;
  step.overdrive_negative = findings.flat_top.overdrive_negative;
  if (input && input->first) step.input = *input->first + input->rise * measured.step.index;
  if (step.input && measured.block.tone) {
    const double tone = criteria::level_db(measured.block.fundamental + measured.block.harmonics);
    step.gain = Decibels(tone - step.input->value());
  }
  return step;
}

namespace {

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
  int disturbed = 0;  // a step that is softer yet is clean, so level is not what does it
};
SoftSteps soft_steps(const ChannelOnset& onset, const std::vector<Point>& points) {
  // By this much, noise over the tone differs by 6 %: more than what it scatters by from step to
  // step (recording.cpp).
  constexpr double clearly_softer_db = 0.5;
  SoftSteps soft;
  const auto clean = std::find_if(points.begin(), points.end(), [&](const Point& p) {
    return onset.highest_clean_step && p.index == *onset.highest_clean_step;
  });
  if (clean == points.end()) return soft;
  for (const Point& p : points) {
    if (p.verdict != Verdict::distorted || p.level >= clean->level) continue;
    const bool softer_clean = std::any_of(points.begin(), points.end(), [&](const Point& other) {
      return other.verdict == Verdict::clean && other.level < p.level - clearly_softer_db;
    });
    if (softer_clean) {
      ++soft.disturbed;
      continue;
    }
    ++(p.harmonics > p.noise ? soft.distorted : soft.noisy);
  }
  return soft;
}

// On where the recording input comes to its own limit.
std::string input_sentence(const InputOnset& onset) {
  const std::string level = onset.at.level_v ? format_quantity(*onset.at.level_v, 4, Zeros::keep)
                                             : format_fixed(onset.at.level, 2);
  return "The recording input comes to its own limit at " + level + ", from step " +
         std::to_string(onset.step) + " on; this is the input's clipping, not the output's.";
}

constexpr const char* behind_sentence =
    "The level moves by %.1f dB while the tops stay flat by the same share, so the control that "
    "was turned is behind the stage that clips: turn down what feeds that stage until the tops are "
    "round, or turn the control in front of it.";

constexpr const char* held_sentence =
    "The tops get flatter by %.1f dB while the level stays: level control or a limiter holds it, "
    "or the supply breaks down. No level is then the one at which it begins: switch level control "
    "off, and play a ladder of known steps (--from, --to, --step).";

// Why no level is one at which clipping begins: the level moved without the overdrive, or the
// overdrive without the level, by so many dB.
struct Loose {
  std::optional<double> behind_db, flatter_db;
  [[nodiscard]] bool any() const { return behind_db || flatter_db; }
};

Loose loose_of(const std::vector<Point>& points) {
  return {criteria::moved_behind(points), criteria::flatter_at_one_level(points)};
}

// Of a ladder: what else is in the recording.
std::string disturbed_sentence(const std::vector<int>& steps) {
  constexpr std::size_t most_named = 6;
  std::string named;
  for (std::size_t i = 0; i < steps.size() && i < most_named; ++i)
    named += (i == 0 ? "" : ", ") + std::to_string(steps[i]);
  if (steps.size() > most_named) named += " and others";
  return "Another sound lies over step" + std::string(steps.size() > 1 ? "s " : " ") + named +
         ", left out here: record without it to be sure.";
}

constexpr const char* rest_sentence =
    "The level rests for %.1f s where clipping begins: a hand that paused there, or automatic "
    "level control of the recorder, with which no volts hold. Switch that off, and do not pause "
    "there.";

// What has no memory has 1 % of distortion before it loses 0.3 dB, or little later (a cubic loses
// 0.26 dB at 1 %; derived). What loses it well before any distortion turns its gain down.
bool is_held_back(const ChannelOnset& onset) {
  constexpr Decibels well_before{1.0};
  if (!onset.compression || !onset.compression->input) return false;
  const auto later = [&](const std::optional<OnsetPoint>& point) {
    return point && point->input && *point->input - *onset.compression->input > well_before;
  };
  return later(onset.thdn) && (!onset.flat_top || later(onset.flat_top));
}

constexpr const char* held_back_sentence =
    "The gain falls well before anything is distorted: automatic level control of the recorder is "
    "on, or a limiter works. With automatic level control no volts above that hold: switch it off, "
    "and record again.";

constexpr const char* noise_falls_sentence =
    "The noise falls by %.0f dB while the level rises: automatic level control of the recorder is "
    "on, or a limiter works. No volts hold then, and what clips may do so far above the level told "
    "here: switch it off, and record again.";

void add_reasons(ChannelOnset& onset, const std::vector<Point>& points, bool overloaded,
                 const Loose& loose, const OnsetLimits& limits) {
  if (loose.behind_db) onset.reasons.push_back(text(behind_sentence, *loose.behind_db));
  if (loose.flatter_db) onset.reasons.push_back(text(held_sentence, *loose.flatter_db));
  if (onset.input_onset) onset.reasons.push_back(input_sentence(*onset.input_onset));
  if (overloaded) {
    onset.reasons.push_back(
        "The recording input is overloaded in the loudest steps, so what lies above them cannot be "
        "told; lower the input level.");
  }
  if (!onset.highest_clean_step && !loose.any()) {
    onset.reasons.push_back(
        text("No step is clean: THD+N is over %.3g %% even in the lowest; look for noise, hum or a "
             "fault before the gain is set.",
             limits.analysis.thdn.value()));
  }
  if (is_held_back(onset)) onset.reasons.emplace_back(held_back_sentence);
  const SoftSteps soft = soft_steps(onset, points);
  if (soft.disturbed > 0) {
    onset.reasons.push_back(
        text("In %.0f of the steps something else is over the limit, for softer ones are clean: a "
             "jump of the control, a bad contact, or another sound. A control that scratches needs "
             "cleaning.",
             soft.disturbed));
  }
  if (soft.distorted > 0) {
    onset.reasons.push_back(
        text("Low steps over the limit with distortion that louder ones do not have: %.0f, as an "
             "output stage without enough bias has around zero (crossover distortion).",
             soft.distorted));
  }
  if (soft.noisy > 0) {
    onset.reasons.push_back(
        text("Low steps over the limit with noise, not with distortion: %.0f. Their level is too "
             "low for this recording.",
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

// Index of the loudest step that is clean and has not lost more than `limit_db` of its gain.
// \param points by their axis; \param gain_db of vanishing input, where it is known
std::optional<int> highest_clean(const std::vector<Point>& points, std::optional<double> gain_db,
                                 double limit_db) {
  for (std::size_t i = points.size(); i > 0; --i) {
    const Point& p = points[i - 1];
    const bool held = !gain_db || p.level - *p.input >= *gain_db - limit_db;
    if (p.verdict == Verdict::clean && held) return p.index;
  }
  return std::nullopt;
}

// Sets verdict and reasons of a channel whose criteria and highest clean step are known.
// \param points one or more; \param overloaded whether louder steps were left out because the
// recording input was at its limit
void conclude(ChannelOnset& onset, const std::vector<Point>& points, bool overloaded,
              const Loose& loose, const OnsetLimits& limits) {
  onset.verdict = verdict_of(onset, points, overloaded);
  add_reasons(onset, points, overloaded, loose, limits);
}

constexpr double least_range_db = 1.0;

bool is_tone(Verdict verdict) {
  return verdict == Verdict::clean || verdict == Verdict::clipped ||
         verdict == Verdict::distorted || verdict == Verdict::input_overload;
}

void sort_by_axis(std::vector<Point>& points) {
  std::stable_sort(points.begin(), points.end(),
                   [](const Point& a, const Point& b) { return axis(a) < axis(b); });
  criteria::settle_noise(points);
  criteria::settle_corners(points);
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
  sort_by_axis(working.points);
  return working;
}

// Steps from the first overload on are no measure of the stage.
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

// A rest from which the level is turned the other way belongs to both ways.
bool is_on(Way way, const std::vector<Way>& ways, const std::vector<MeasuredStep>& steps,
           std::size_t i) {
  if (ways[i] == way) return true;
  return !steps[i].step.gliding && i + 1 < ways.size() && ways[i + 1] == way;
}

// The steps on one way of a level that is turned by hand; none where they are too few to judge.
std::vector<Point> points_on(Way way, const std::vector<MeasuredStep>& steps,
                             const std::vector<OnsetStep>& described, const OnsetLimits& limits) {
  const std::vector<Way> ways = ways_of(steps);
  std::vector<Point> points;
  for (std::size_t i = 0; i < steps.size(); ++i) {
    if (!is_on(way, ways, steps, i)) continue;
    if (!steps[i].block.tone || !is_tone(described[i].verdict)) continue;
    points.push_back(criteria::point_of(steps[i], described[i].verdict, limits.analysis.band.high));
  }
  sort_by_axis(points);
  drop_overloaded(points);
  if (!is_ladder(points)) points.clear();
  return points;
}

using Estimated = std::optional<criteria::Estimate>;

struct Estimates {
  Estimated thdn, flat_top, compression;
};

// By the three criteria. \param gain of vanishing input, where the input is known
Estimates estimates_of(const std::vector<Point>& points, const std::optional<criteria::Gain>& gain,
                       const OnsetLimits& limits) {
  const double compression = limits.compression.value();
  Estimates found;
  found.thdn = criteria::thdn_onset(points, limits.analysis.thdn.value() / 100.0);
  found.flat_top = criteria::flat_top_onset(points);
  if (gain) found.compression = criteria::compression_onset(points, *gain, compression);
  if (!points.front().input) found.compression = criteria::compression_of_law(points, compression);
  return found;
}

// The law's estimate in the place of that of single steps. Where its shape is in doubt, how far
// they are apart is uncertain.
void take_shared(const Estimated& shared, bool in_doubt, Estimated& found) {
  constexpr double share = 0.6;  // of the distance: the truth may be at either, and a little beyond
  if (!shared || (!found && in_doubt)) return;
  const double apart = in_doubt ? share * (shared->level - found->level) : 0.0;
  found = shared;
  found->sigma = std::hypot(found->sigma, apart);
}

// Whether the limit of THD+N is passed, single steps of a turn say; where, and whether tops are
// flat or compressed, the one law that explains them all.
void ask_shared_law(const std::vector<Point>& points, const OnsetLimits& limits, Estimates& found) {
  if (!found.thdn && !found.flat_top && !found.compression) return;
  const auto shared = criteria::shared_law_onset(points, limits.analysis.thdn.value() / 100.0,
                                                 limits.compression.value());
  if (!shared) return;
  if (found.thdn) take_shared(shared->thdn, shared->other_shape, found.thdn);
  // Soft compression makes single steps look flat.
  if (!shared->other_shape && shared->still_rising) found.flat_top.reset();
  take_shared(shared->flat_top, shared->other_shape, found.flat_top);
  take_shared(shared->compression, shared->other_shape, found.compression);
}

std::vector<Point> without(const std::vector<Point>& points, const std::vector<int>& indices) {
  std::vector<Point> rest = points;
  std::erase_if(rest, [&](const Point& p) {
    return std::find(indices.begin(), indices.end(), p.index) != indices.end();
  });
  return rest;
}

// What the disturbed steps move is uncertain in what the others say.
void widen(const Estimated& disturbed, Estimated& estimate) {
  constexpr double share = 0.5;
  constexpr double least_db = 0.01;  // a disturbance may be too weak to be seen in its step
  constexpr double most_db = 0.1;    // what is moved by more is no estimate
  if (!estimate) return;
  const double apart = disturbed ? std::abs(disturbed->level - estimate->level) : 0.0;
  estimate->sigma = std::hypot(estimate->sigma, share * std::clamp(apart, least_db, most_db));
}

// \param disturbed indices of steps, see `disturbed_steps`
// \param gain of vanishing input, where the input is known
Estimates estimates_without(const std::vector<Point>& points, const std::vector<int>& disturbed,
                            const std::optional<criteria::Gain>& gain, const OnsetLimits& limits) {
  const auto by = [&](const std::vector<Point>& some) {
    Estimates found = estimates_of(some, gain, limits);
    if (!some.front().input) ask_shared_law(some, limits, found);
    return found;
  };
  const Estimates all = by(points);
  const auto quiet = without(points, disturbed);
  if (quiet.size() == points.size() || !is_ladder(quiet)) return all;
  Estimates found = by(quiet);
  widen(all.thdn, found.thdn);
  widen(all.flat_top, found.flat_top);
  widen(all.compression, found.compression);
  return found;
}

OnsetWay criteria_of(const std::vector<Point>& points, const std::vector<int>& disturbed,
                     const std::optional<criteria::Gain>& gain, bool input_known,
                     const OnsetLimits& limits) {
  const Estimates found = estimates_without(points, disturbed, gain, limits);
  const auto given = [&](const Estimated& estimate) -> std::optional<OnsetPoint> {
    if (!estimate) return std::nullopt;
    return point(*estimate, input_known, limits.analysis);
  };
  return {given(found.thdn), given(found.flat_top), given(found.compression)};
}

// The two ways do not meet: more than what is uncertain in them, and more than a hand would notice.
void compare_ways(ChannelOnset& onset) {
  constexpr Decibels noticed{0.3};
  const auto& up = onset.flat_top ? onset.flat_top : onset.thdn;
  const auto& down = onset.flat_top ? onset.down->flat_top : onset.down->thdn;
  if (!up || !down) return;
  const Decibels apart = down->level - up->level;
  const double sigma = std::hypot(up->uncertainty.value(), down->uncertainty.value());
  if (std::abs(apart.value()) < noticed.value() + 2.0 * sigma) return;
  onset.reasons.push_back(text(
      apart.value() < 0.0
          ? "On the way down it clips down to a level %.2f dB below the one at which clipping "
            "began: "
            "a limiter with a slow release, a supply that sags, or a stage that has warmed up."
          : "On the way down clipping ends %.2f dB above the level at which it began: the stage "
            "changes while it is driven; let it settle and turn up again.",
      std::abs(apart.value())));
}

// How long the level of a run that is turned by hand rests, clean, where clipping begins: a hand
// that paused there, or a level control that held it while the hand turned on.
std::optional<Seconds> rest_at_onset(const ChannelOnset& onset) {
  constexpr Decibels beside{0.3};
  constexpr Seconds least{1.0};
  constexpr double turned_share = 0.5;  // of the steps; those of a ladder all rest
  const auto& at = onset.flat_top ? onset.flat_top : onset.thdn;
  if (!at) return std::nullopt;
  std::size_t moving = 0;
  Seconds rest{0.0};
  for (const OnsetStep& step : onset.steps) {
    if (step.moving) ++moving;
    const bool clean_rest = !step.moving && step.verdict == Verdict::clean && step.level;
    if (clean_rest && std::abs((*step.level - at->level).value()) < beside.value())
      rest = rest + (step.end - step.start);
  }
  const bool turned =
      static_cast<double>(moving) >= turned_share * static_cast<double>(onset.steps.size());
  return turned && rest >= least ? std::optional(rest) : std::nullopt;
}

// Where the level is set behind the stage that clips, none is the one at which clipping begins.
void forget_levels(ChannelOnset& onset) {
  onset.thdn = onset.flat_top = onset.compression = std::nullopt;
  onset.down = std::nullopt;
  onset.only_down = false;
}

std::optional<InputOnset> input_onset_of(const Working& working, const Limits& limits) {
  const auto estimate = criteria::input_onset(working.points);
  if (!estimate) return std::nullopt;
  const auto first = std::find_if(working.points.begin(), working.points.end(), [](const Point& p) {
    return p.verdict == Verdict::input_overload;
  });
  return InputOnset{point(*estimate, working.input_known, limits), first->index};
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
  onset.input_onset = input_onset_of(working, limits.analysis);
  const bool overloaded = drop_overloaded(points);
  if (!is_ladder(points)) {
    onset.verdict = overloaded ? OnsetVerdict::input_overload : OnsetVerdict::no_ladder;
    if (onset.input_onset) onset.reasons.push_back(input_sentence(*onset.input_onset));
    onset.reasons.push_back(
        overloaded ? "The recording input is overloaded from the start; lower the input "
                     "level."
                   : "There are no three steps of different level that hold a steady tone.");
    return onset;
  }
  const double compression = limits.compression.value();
  const auto disturbed = criteria::disturbed_steps(points, limits.analysis.thdn.value() / 100.0);
  const auto quiet = without(points, disturbed);
  const bool left_out = input && is_ladder(quiet);
  const std::vector<Point>& judged = left_out ? quiet : points;
  const auto gain = input ? criteria::small_signal_gain(judged, compression) : std::nullopt;
  auto rising = input ? points : points_on(Way::up, steps, onset.steps, limits);
  const bool rises = !rising.empty();
  if (!rises) rising = points;
  const OnsetWay up = criteria_of(rising, disturbed, gain, working.input_known, limits);
  onset.thdn = up.thdn;
  onset.flat_top = up.flat_top;
  onset.compression = up.compression;
  if (!input) {
    const auto falling = points_on(Way::down, steps, onset.steps, limits);
    // What crackles seems to fall.
    if (is_ladder(without(falling, disturbed)))
      onset.down = criteria_of(falling, disturbed, gain, false, limits);
    onset.only_down = onset.down && !rises;
  }
  if (gain && working.input_known) onset.small_signal_gain = Decibels(gain->db);
  onset.highest_clean_step =
      highest_clean(rising, gain ? std::optional(gain->db) : std::nullopt, compression);
  const Loose loose = input ? Loose{} : loose_of(quiet);
  if (loose.any()) forget_levels(onset);
  conclude(onset, judged, overloaded, loose, limits);
  if (left_out && !disturbed.empty()) onset.reasons.push_back(disturbed_sentence(disturbed));
  if (onset.down) compare_ways(onset);
  const auto fall_db = input ? std::nullopt : criteria::noise_fall(without(rising, disturbed));
  if (fall_db) onset.reasons.insert(onset.reasons.begin(), text(noise_falls_sentence, *fall_db));
  const auto rest = input || fall_db ? std::nullopt : rest_at_onset(onset);
  if (rest) onset.reasons.push_back(text(rest_sentence, rest->value()));
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
