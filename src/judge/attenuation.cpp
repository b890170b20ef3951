// SPDX-License-Identifier: MIT
// Two recordings of one tone with different attenuation, compared channel by channel.
#include "judge/attenuation.hpp"

#include <algorithm>
#include <cmath>

#include "units/print.hpp"

namespace railtap::judge {
namespace {

constexpr double same_frequency = 1e-3;
constexpr double agreeing_share = 0.25;  // of the attenuation, as in judge_overload_source

const measure::Segment* longest_tone(const measure::ChannelRecording& recording) {
  const measure::Segment* longest = nullptr;
  for (const measure::Segment& segment : recording.segments) {
    if (!is_tone(segment) || is_silence(segment) || !segment.clip) continue;
    const auto frames = [](const measure::Segment& s) { return s.end_frame - s.first_frame; };
    if (longest == nullptr || frames(segment) > frames(*longest)) longest = &segment;
  }
  return longest;
}

// Peak of the fundamental as if no rail were there.
double straight_peak(const measure::Segment& segment) {
  const auto& fit = *segment.clip;
  const bool flat = fit.explained && (fit.positive.flat || fit.negative.flat);
  return flat ? fit.amplitude_fs : std::sqrt(2.0 * segment.measurement.fundamental);
}

Hertz frequency_of(const measure::Segment& segment) {
  return segment.measurement.series.fundamental;
}

std::string missing_tone(const measure::Segment* first, const measure::Segment* second) {
  if (first == nullptr && second == nullptr) return "Neither recording holds a steady tone.";
  return std::string("The ") + (first == nullptr ? "first" : "second") +
         " recording holds no steady tone.";
}

std::string other_tone(Hertz first, Hertz second) {
  return "The first recording holds " + format_quantity(first, 4) + " and the second " +
         format_quantity(second, 4) + ": play the same tone for both.";
}

std::string other_level(Decibels moved, Decibels attenuation) {
  return "The tone changes by " + format_fixed(moved, 2, Sign::always) +
         " in the second recording, where " + format_quantity(attenuation) +
         " more attenuation must make it " + format_fixed(-attenuation, 2) +
         ": give the attenuation that was added, and leave volume, gain and input level alone.";
}

ComparedChannel compare(const measure::Segment& first, const measure::Segment& second,
                        Decibels attenuation) {
  ComparedChannel compared;
  compared.level_moved =
      decibels_from_amplitude_ratio(straight_peak(second) / straight_peak(first));
  const double off = std::abs((*compared.level_moved + attenuation).value());
  if (std::abs(frequency_of(second) / frequency_of(first) - 1.0) > same_frequency) {
    compared.obstacle = other_tone(frequency_of(first), frequency_of(second));
  } else if (off > agreeing_share * attenuation.value()) {
    compared.obstacle = other_level(*compared.level_moved, attenuation);
  } else {
    compared.found = judge_overload_source(*first.clip, *second.clip, attenuation);
  }
  return compared;
}

}  // namespace

std::vector<ComparedChannel> compare_attenuation(
    const std::vector<measure::ChannelRecording>& first,
    const std::vector<measure::ChannelRecording>& second, Decibels attenuation) {
  std::vector<ComparedChannel> channels;
  for (std::size_t c = 0; c < std::min(first.size(), second.size()); ++c) {
    const measure::Segment* a = longest_tone(first[c]);
    const measure::Segment* b = longest_tone(second[c]);
    ComparedChannel compared;
    if (a != nullptr && b != nullptr) {
      compared = compare(*a, *b, attenuation);
    } else {
      compared.obstacle = missing_tone(a, b);
    }
    compared.channel = static_cast<int>(c) + 1;
    channels.push_back(std::move(compared));
  }
  return channels;
}

bool any_found(const std::vector<ComparedChannel>& channels) {
  return std::any_of(channels.begin(), channels.end(),
                     [](const ComparedChannel& c) { return c.found.has_value(); });
}

void apply(ChannelAnalysis& first, const ComparedChannel& compared) {
  if (!compared.found) return;
  Findings& findings = first.findings;
  const OverloadFinding& found = *compared.found;
  if (found.source == OverloadSource::input && findings.verdict == Verdict::clipped) {
    findings.verdict = Verdict::input_overload;
    findings.input_overload.present = true;
    findings.reasons.insert(findings.reasons.begin(), found.sentence);
  }
  if (found.source == OverloadSource::amplifier && findings.verdict == Verdict::input_overload) {
    findings.verdict = Verdict::clipped;
    findings.input_overload.present = false;
    findings.reasons.front() = found.sentence;  // it was the sentence about the overload
  }
}

}  // namespace railtap::judge
