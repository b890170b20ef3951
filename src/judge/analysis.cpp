// SPDX-License-Identifier: MIT
// From a measured channel to its verdict.
#include "judge/analysis.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "judge/sentence.hpp"

namespace railtap::judge {
namespace {

using measure::ChannelRecording;
using measure::Segment;

// Of what is not silent; with less tone than that it is music or speech.
constexpr double least_tone_share = 0.5;

// Samples in a row at full scale that a clean sine of that very amplitude has: it stays within a
// code and a half of dither below its crest for an angle of acos(1 − 1.5·step) to each side.
std::int64_t longest_innocent_run(double step, Hertz frequency, Hertz rate) {
  const double angle = std::acos(std::max(-1.0, 1.0 - 1.5 * step));
  const double samples = angle / (std::numbers::pi * frequency.value()) * rate.value();
  return static_cast<std::int64_t>(std::ceil(samples)) + 1;
}

InputOverload overload_of(const ChannelRecording& recording, std::optional<Hertz> frequency,
                          Hertz rate) {
  constexpr double step_of_float =
      1.0 / 32768.0;                             // a float file mostly holds what 16 bits recorded
  constexpr std::int64_t innocent_in_music = 3;  // consecutive samples (common practice)
  const double step = recording.full_scale.positive_limit < 1.0
                          ? 1.0 - recording.full_scale.positive_limit
                          : step_of_float;
  const std::int64_t innocent =
      frequency ? longest_innocent_run(step, *frequency, rate) : innocent_in_music;
  return {recording.full_scale.longest > innocent, recording.full_scale.samples,
          recording.full_scale.longest};
}

Seconds seconds(std::int64_t frames, Hertz rate) {
  return Seconds(static_cast<double>(frames) / rate.value());
}

int severity(Verdict verdict) {
  switch (verdict) {
    case Verdict::unusable:
      return 6;
    case Verdict::input_overload:
      return 5;
    case Verdict::clipped:
      return 4;
    case Verdict::distorted:
      return 3;
    case Verdict::clean:
      return 2;
    case Verdict::no_tone:
      return 1;
    case Verdict::no_signal:
      return 0;
  }
  return 6;
}

struct Shares {
  std::int64_t tone = 0;
  std::int64_t loud = 0;  // frames that are not silent
  const Segment* longest_tone = nullptr;
  const Segment* longest_other = nullptr;
};

Shares shares_of(const ChannelRecording& recording) {
  const auto longer = [](const Segment& s, const Segment* than) {
    return than == nullptr || s.end_frame - s.first_frame > than->end_frame - than->first_frame;
  };
  Shares shares;
  std::int64_t silent = 0;
  for (const Segment& s : recording.segments) {
    const std::int64_t length = s.end_frame - s.first_frame;
    if (is_tone(s)) {
      shares.tone += length;
      if (longer(s, shares.longest_tone)) shares.longest_tone = &s;
    } else {
      if (is_silence(s)) silent += length;
      if (longer(s, shares.longest_other)) shares.longest_other = &s;
    }
  }
  shares.loud = recording.figures.frames - silent;
  return shares;
}

Findings unusable(std::string reason) {
  Findings f;
  f.verdict = Verdict::unusable;
  f.reasons.push_back(std::move(reason));
  return f;
}

void take_worst(Findings& whole, const std::vector<SegmentFindings>& segments) {
  for (const auto& segment : segments) {
    if (severity(segment.findings.verdict) <= severity(whole.verdict)) continue;
    whole.verdict = segment.findings.verdict;
    whole.reasons.push_back(
        sentence("From %.1f s to %.1f s: ", segment.start.value(), segment.end.value()) +
        (segment.findings.reasons.empty() ? name(segment.findings.verdict)
                                          : segment.findings.reasons.front()));
  }
}

}  // namespace

ChannelAnalysis judge_channel(int channel, const ChannelRecording& recording, Hertz rate,
                              const Limits& limits) {
  ChannelAnalysis analysis;
  analysis.channel = channel;
  if (recording.figures.non_finite > 0) {
    analysis.findings = unusable(
        sentence("%.0f samples are not numbers (NaN or infinity); the recording is damaged.",
                 static_cast<double>(recording.figures.non_finite)));
    return analysis;
  }
  const Shares shares = shares_of(recording);
  const bool tone =
      shares.longest_tone != nullptr &&
      static_cast<double>(shares.tone) >= least_tone_share * static_cast<double>(shares.loud);
  const auto frequency =
      tone ? std::optional(shares.longest_tone->measurement.series.fundamental) : std::nullopt;
  const InputOverload overload = overload_of(recording, frequency, rate);

  if (recording.segments.size() > 1) {
    for (const Segment& s : recording.segments) {
      analysis.segments.push_back({seconds(s.first_frame, rate), seconds(s.end_frame, rate),
                                   judge_segment(s, overload, limits)});
    }
  }
  if (tone) {
    analysis.findings = judge_segment(*shares.longest_tone, overload, limits);
    take_worst(analysis.findings, analysis.segments);
  } else {
    const auto* other = shares.longest_other;
    const bool noise_holds = other != nullptr && recording.segments.size() == 1;
    analysis.findings =
        judge_other(recording.figures, noise_holds ? &other->measurement : nullptr, limits);
    analysis.findings.input_overload = overload;
    if (overload.present) {
      analysis.findings.verdict = Verdict::input_overload;
      analysis.findings.reasons.push_back(sentence(
          "%.0f samples are at digital full scale, up to %.0f in a row: the recording is clipped.",
          static_cast<double>(overload.samples_at_full_scale),
          static_cast<double>(overload.longest_run)));
    }
  }
  return analysis;
}

bool within_limits(const std::vector<ChannelAnalysis>& channels) {
  return std::none_of(channels.begin(), channels.end(), [](const ChannelAnalysis& channel) {
    const Verdict v = channel.findings.verdict;
    return v == Verdict::clipped || v == Verdict::distorted || v == Verdict::input_overload ||
           v == Verdict::unusable;
  });
}

}  // namespace railtap::judge
