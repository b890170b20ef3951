// SPDX-License-Identifier: MIT
// One channel measured while it plays: its level at once, its distortion a little later, and what a
// block of 0.2 s cannot show: a level that pumps, gaps, clicks, missing samples.
#include "live/channel_watch.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "judge/cause.hpp"
#include "measure/clipped_sine.hpp"

namespace railtap::live {

// Faults of the last seconds.

namespace {

// A stretch begins with the end of the one before: a frame that opens a segment, one behind a
// break, and one between.
constexpr Seconds repeated{0.3};

// A hand that turns a control to and fro turns back less often in one stretch (common practice).
constexpr int least_turns = 4;

bool worth_telling(const judge::Cause& cause, const measure::ChannelRecording& recording) {
  using judge::CauseKind;
  switch (cause.kind) {
    case CauseKind::gaps:
    case CauseKind::clicks:
    case CauseKind::missing_samples:
    case CauseKind::speed_wavering:
      return true;
    case CauseKind::level_pumping:
      return recording.moving.frames == 0 || recording.moving.turns >= least_turns;
    case CauseKind::hum:
    case CauseKind::foreign_tone:
      // One that beats with the tone; others are told by the blocks.
      return recording.moving.turns >= least_turns;
    default:
      return false;
  }
}

// The tone itself was measured block by block: what differs from the first second is looked for.
measure::RecordingOptions options_of(const judge::Limits& limits) {
  measure::RecordingOptions options;
  options.band = limits.band;
  options.always_measured = 1;
  return options;
}

}  // namespace

RecentFaults::RecentFaults(Hertz rate, const judge::Limits& limits)
    : rate_(rate), limits_(limits), meter_(rate, options_of(limits)) {}

bool RecentFaults::add(const double* first, std::size_t stride, std::size_t count, bool steady) {
  meter_.add(first, stride, count);
  frames_ += static_cast<std::int64_t>(count);
  for (std::size_t n = 0; n < count; ++n) latest_.push_back(first[n * stride]);
  const auto kept = static_cast<std::size_t>(repeated.value() * rate_.value());
  if (latest_.size() > 2 * kept)
    latest_.erase(latest_.begin(), latest_.end() - static_cast<std::ptrdiff_t>(kept));
  const Seconds length(static_cast<double>(frames_) / rate_.value());
  if (length < shortest || (length < longest && !steady)) return false;
  end_stretch();
  return true;
}

void RecentFaults::end_stretch() {
  measure::ChannelRecording recording = meter_.finish();
  // Times from the start of the stream, for the sentence.
  const std::int64_t start = start_ - repeated_;
  for (measure::Disturbance& d : recording.disturbances.listed) d.first_frame += start;
  count_on(recording.disturbances);
  recording.moving.first_frame += start;
  recording.moving.end_frame += start;
  const auto found = judge::judge_channel(1, recording, rate_, limits_).findings.cause;
  cause_ = found && worth_telling(*found, recording) ? found : std::nullopt;
  begin_stretch();
  // What breaks off between two stretches lies in neither of them.
  const auto kept =
      std::min(latest_.size(), static_cast<std::size_t>(repeated.value() * rate_.value()));
  meter_.add(latest_.data() + (latest_.size() - kept), 1, kept);
  repeated_ = static_cast<std::int64_t>(kept);
}

// What lies where two stretches overlap is in both.
void RecentFaults::count_on(measure::FoundDisturbances& found) {
  constexpr Seconds same{0.01};
  const auto near = static_cast<std::int64_t>(same.value() * rate_.value());
  if (found.count() == 0) counted_ = {};
  for (const measure::Disturbance& d : found.listed) {
    const bool known = std::any_of(counted_.listed.begin(), counted_.listed.end(),
                                   [&](const measure::Disturbance& before) {
                                     return std::abs(before.first_frame - d.first_frame) < near;
                                   });
    if (!known) counted_.add(d);
  }
  found = counted_;
}

void RecentFaults::finish() {
  constexpr Seconds least{0.5};
  if (static_cast<double>(frames_) < least.value() * rate_.value()) return;
  const auto before = cause_;
  end_stretch();
  if (!cause_) cause_ = before;
}

void RecentFaults::begin_stretch() {
  meter_.begin_again();
  start_ += frames_;
  frames_ = 0;
  repeated_ = 0;
}

void RecentFaults::reset() {
  begin_stretch();
  latest_.clear();
  counted_ = {};
  cause_.reset();
}

// One channel: levels every 25 ms, a judged block every 0.2 s.

namespace {

using judge::Verdict;

constexpr double full_scale_sine_mean_square = 0.5;  // AES17-2015, 3.12
// A ramp of this much over a block has sidebands of half a percent, under the limit of 1 %
// (derived: an even ramp of ±0.86 % has an RMS of 0.5 %).
constexpr double steady_db = 0.15;
// Up to this much over a block its envelopes follow the level (docs/method.md, "A control that is
// turned by hand"): 12 dB/s.
constexpr double turning_db = 2.4;
// Two levels closer than this are the same level measured twice: the ripple of the short window.
constexpr double same_level_db = 0.05;
// Below this the level is that of an open input, and its ups and downs mean nothing.
constexpr double silent_dbfs = -60.0;
constexpr std::size_t cycle_slices = 128;
// Codes of 16 bits, and of the finest converters.
constexpr double coarse_step = 1.0 / 32768.0;
constexpr double fine_step = 1.0 / 8388608.0;

std::optional<Dbfs> dbfs(double mean_square) {
  if (!(mean_square > 0.0) || !std::isfinite(mean_square)) return std::nullopt;
  return Dbfs(10.0 * std::log10(mean_square / full_scale_sine_mean_square));
}

bool all_coarse(std::span<const double> samples) {
  return std::all_of(samples.begin(), samples.end(), [](double sample) {
    const double code = sample / coarse_step;
    return code == std::round(code);
  });
}

int badness(Verdict verdict) {
  switch (verdict) {
    case Verdict::input_overload:
      return 4;
    case Verdict::clipped:
      return 3;
    case Verdict::distorted:
    case Verdict::unusable:
      return 2;
    case Verdict::clean:
      return 1;
    case Verdict::no_tone:
    case Verdict::no_signal:
      return 0;
  }
  return 0;
}

}  // namespace

std::size_t ChannelWatch::frames(Seconds length) const {
  return static_cast<std::size_t>(std::llround(length.value() * settings_.rate.value()));
}

ChannelWatch::ChannelWatch(int channel, const WatchSettings& settings)
    : settings_(settings),
      hop_(frames(level_hop)),
      window_(frames(level_window)),
      block_(frames(block)),
      level_meter_(window_),
      meter_(settings.rate, settings.limits.band),
      fold_(cycle_slices),
      faults_(settings.rate, settings.limits) {
  reading_.channel = channel;
  recent_.reserve(2 * block_);
}

void ChannelWatch::add(const double* first, std::size_t stride, std::size_t count) {
  for (std::size_t i = 0; i < count; ++i) {
    recent_.push_back(first[i * stride]);
    ++position_;
    if (++since_level_ >= hop_ && recent_.size() >= window_) take_level();
    if (++since_block_ >= block_ && recent_.size() >= block_) take_block();
  }
  look_for_faults(first, stride, count);
}

// Flat tops are what is told then, and to measure seconds of them takes the longest of all.
void ChannelWatch::look_for_faults(const double* first, std::size_t stride, std::size_t count) {
  if (reading_.findings && reading_.findings->verdict == judge::Verdict::clipped) {
    if (faults_.has_begun() || reading_.lasting) {
      faults_.reset();
      reading_.lasting.reset();
    }
  } else if (faults_.add(first, stride, count, reading_.steady)) {
    reading_.lasting = faults_.cause();
  }
}

void ChannelWatch::take_level() {
  since_level_ = 0;
  const auto last = std::span(recent_).last(window_);
  const auto level = dbfs(level_meter_.figures(last).mean_square);
  if (level) {
    levels_db_.push_back(level->value());
  } else {
    levels_db_.push_back(2.0 * silent_dbfs);
  }
  add_history(level, std::nullopt);
  const auto& findings = reading_.findings;
  if (findings && findings->level && level) {
    const double moved = std::abs((*level - *findings->level).value());
    if (moved <= same_level_db) return;
    // It has begun to move; what was measured does not hold any more. What was measured while it
    // moves holds until the next block.
    if (reading_.steady && moved > steady_db && *level > Dbfs(silent_dbfs)) {
      reading_.findings.reset();
      reading_.steady = false;
    }
  }
  reading_.level = level;
}

double ChannelWatch::spread_db() const {
  // The first windows reach back beyond the block.
  const std::size_t outside = std::min(levels_db_.size(), window_ / hop_ - 1);
  const auto begin = levels_db_.begin() + static_cast<std::ptrdiff_t>(outside);
  if (begin == levels_db_.end()) return 0.0;
  const auto [low, high] = std::minmax_element(begin, levels_db_.end());
  if (*high < silent_dbfs) return 0.0;
  return *high - *low;
}

measure::ChannelRecording ChannelWatch::record_block(Level level) {
  const auto samples = std::span<const double>(recent_).last(block_);
  measure::ChannelRecording recording;
  recording.figures = measure::figures(samples);
  if (recording.figures.non_finite > 0) return recording;
  auto step = settings_.code_step;
  if (settings_.find_code_step) step = all_coarse(samples) ? coarse_step : fine_step;
  if (step) recording.full_scale.positive_limit = 1.0 - *step;
  recording.full_scale.exact = !step;
  measure::CodeStep codes;
  codes.add(samples);
  recording.code_step = codes.step();
  recording.full_scale.add(samples, recording.figures);
  recording.flat.add(samples, recording.figures);
  recording.steady_frames = static_cast<std::int64_t>(samples.size());

  measure::Segment segment;
  segment.first_frame = 0;
  segment.end_frame = recording.steady_frames;
  segment.figures = recording.figures;
  double rise_db = 0.0;
  segment.measurement = level == Level::moving && near_
                            ? meter_.measure_moving(samples, *near_, rise_db)
                            : meter_.measure(samples, near_);
  segment.blocks = 1;
  keep_course(segment);
  if (segment.measurement.tone)
    segment.clip = judge::clip_of(segment.measurement.series, waveform_);
  recording.segments.push_back(std::move(segment));
  return recording;
}

// A block alone cannot tell whether a line in it moves.
void ChannelWatch::keep_course(measure::Segment& segment) {
  course_.add(segment.measurement, block);
  if (course_.moves()) segment.moving_line = course_.frequency();
}

void ChannelWatch::take_block() {
  since_block_ = 0;
  const double spread = spread_db();
  levels_db_.clear();
  reading_.steady = spread <= steady_db;
  reading_.findings.reset();
  if (reading_.steady) {
    const auto recording = record_block(Level::steady);
    judge::Findings findings = judge::judge_channel(reading_.channel, recording, settings_.rate,
                                                    settings_.limits, &waveform_)
                                   .findings;
    near_ = findings.frequency;
    if (findings.level) reading_.level = findings.level;
    if (findings.frequency) {
      fold(recording.segments.front().measurement);
      keep_clean(findings);
    }
    add_history(std::nullopt, findings.verdict);
    reading_.findings = std::move(findings);
  } else if (near_ && spread <= turning_db) {
    take_turning_block();
  } else {
    near_.reset();
  }
  recent_.erase(recent_.begin(), recent_.end() - static_cast<std::ptrdiff_t>(window_));
}

// A block that the envelopes do not explain holds a jump, and no verdict: what is left over must be
// less than what counts as distortion.
void ChannelWatch::take_turning_block() {
  const auto recording = record_block(Level::moving);
  if (recording.segments.empty()) return;
  const auto& tone = recording.segments.front().measurement;
  const double limit = settings_.limits.thdn.value() / 100.0;
  const double left_over = tone.residual - tone.harmonics;
  if (!tone.tone || left_over > limit * limit * tone.fundamental) return;
  judge::Findings findings = judge::judge_channel(reading_.channel, recording, settings_.rate,
                                                  settings_.limits, &waveform_)
                                 .findings;
  add_history(std::nullopt, findings.verdict);
  reading_.findings = std::move(findings);
}

void ChannelWatch::fold(const measure::BlockMeasurement& tone) {
  // The measured phase is that of a cosine, the fold needs that of a sine: a quarter cycle more.
  const double phase = tone.start_phase / (2.0 * std::numbers::pi) + 0.25;
  fold_.clear();
  fold_.add(std::span<const double>(recent_).last(block_), phase,
            tone.series.fundamental / settings_.rate);
  reading_.cycle = fold_.points();
}

void ChannelWatch::keep_clean(const judge::Findings& findings) {
  if (findings.verdict != Verdict::clean || !findings.level || !findings.thdn) return;
  // The same level measured again is not a higher one.
  if (reading_.highest_clean &&
      *findings.level - reading_.highest_clean->level < Decibels(same_level_db))
    return;
  const Seconds at(static_cast<double>(position_) / settings_.rate.value());
  reading_.highest_clean = HighestClean{at, *findings.level, *findings.thdn};
}

void ChannelWatch::add_history(std::optional<Dbfs> level, std::optional<Verdict> verdict) {
  auto& history = reading_.history;
  const auto step = static_cast<std::int64_t>(frames(history_step));
  if (history.empty() || position_ - history_start_ >= step) {
    history_start_ = history.empty() ? position_ : history_start_ + step;
    history.emplace_back();
  }
  const auto most = static_cast<std::size_t>(history_length / history_step);
  while (history.size() > most) history.pop_front();
  HistoryPoint& now = history.back();
  if (level && (!now.level || *level > *now.level)) now.level = level;
  if (verdict && (!now.verdict || badness(*verdict) > badness(*now.verdict))) now.verdict = verdict;
}

void ChannelWatch::reset() {
  reading_.highest_clean.reset();
  reading_.history.clear();
  faults_.reset();
  reading_.lasting.reset();
}

bool ChannelWatch::finish() {
  const auto sentence = [](const std::optional<judge::Cause>& cause) {
    return cause ? cause->sentence : "";
  };
  const std::string told = sentence(reading_.lasting);
  if (faults_.has_begun()) {
    faults_.finish();
    reading_.lasting = faults_.cause();
  }
  return sentence(reading_.lasting) != told;
}

}  // namespace railtap::live
