// SPDX-License-Identifier: MIT
// Whether the amplifier or the recording input flattens a waveform, from two recordings.
#include "judge/attenuation.hpp"

#include <algorithm>
#include <cmath>

#include "units/print.hpp"

namespace railtap::judge {
namespace {

constexpr double agreeing_share = 0.25;  // of the attenuation

// The rail that is hit harder; none where neither is flat.
std::optional<Dbfs> flat_level(const measure::ClippedSineFit& fit) {
  const bool positive =
      fit.positive.flat && (!fit.negative.flat || fit.positive.overdrive >= fit.negative.overdrive);
  const auto& rail = positive ? fit.positive : fit.negative;
  if (!rail.flat || !(fit.amplitude_fs > 0.0)) return std::nullopt;
  return dbfs_from_sine_peak(fit.amplitude_fs) - rail.overdrive;
}

OverloadSource source_of(const OverloadFinding& finding, const measure::ClippedSineFit& first,
                         const measure::ClippedSineFit& second, Decibels attenuation) {
  if (!finding.flat_first) return OverloadSource::none;
  const double allowed = agreeing_share * attenuation.value();
  if (!finding.flat_second) {
    // It vanished. An amplifier's clipping would not; but the tone must be the same one.
    const double change = 20.0 * std::log10(second.amplitude_fs / first.amplitude_fs);
    return std::abs(change + attenuation.value()) <= allowed ? OverloadSource::input
                                                             : OverloadSource::undecided;
  }
  const double moved = finding.moved->value();
  if (std::abs(moved + attenuation.value()) <= allowed) return OverloadSource::amplifier;
  if (std::abs(moved) <= allowed) return OverloadSource::input;
  return OverloadSource::undecided;
}

std::string sentence_of(const OverloadFinding& finding, Decibels attenuation) {
  const std::string more = format_quantity(attenuation) + " more attenuation";
  switch (finding.source) {
    case OverloadSource::none:
      return "The first recording is not flat-topped, so there is nothing to compare.";
    case OverloadSource::amplifier:
      return "The flat level moves by " + format_fixed(*finding.moved, 2) + " with " + more +
             ": the clipping is in what is recorded, not in the recording input.";
    case OverloadSource::input:
      if (!finding.flat_second) {
        return "With " + more + " the flat tops are gone: the recording input was overloaded.";
      }
      return "The flat level stays where it is with " + more +
             ": it is the recording input that clips; attenuate further.";
    case OverloadSource::undecided:
      break;
  }
  return "The flat level neither follows the attenuation nor stays: repeat both "
         "recordings with the same volume, gain and load.";
}

}  // namespace

OverloadFinding judge_overload_source(const measure::ClippedSineFit& first,
                                      const measure::ClippedSineFit& second, Decibels attenuation) {
  OverloadFinding finding;
  finding.flat_first = flat_level(first);
  finding.flat_second = flat_level(second);
  if (finding.flat_first && finding.flat_second)
    finding.moved = *finding.flat_second - *finding.flat_first;
  finding.source = source_of(finding, first, second, attenuation);
  finding.sentence = sentence_of(finding, attenuation);
  return finding;
}

bool is_clipped_run(std::int64_t longest_run) {
  constexpr std::int64_t clipped = 3;
  return longest_run >= clipped;
}

const char* name(OverloadSource source) {
  switch (source) {
    case OverloadSource::none:
      return "none";
    case OverloadSource::amplifier:
      return "amplifier";
    case OverloadSource::input:
      return "input";
    case OverloadSource::undecided:
      return "undecided";
  }
  return "undecided";
}

namespace {

constexpr double same_frequency = 1e-3;

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
  if (first == nullptr && second == nullptr) return "Neither recording holds a steady tone";
  return std::string("The ") + (first == nullptr ? "first" : "second") +
         " recording holds no steady tone";
}

std::string other_tone(Hertz first, Hertz second) {
  return "The first recording holds " + format_quantity(first, 4) + " and the second " +
         format_quantity(second, 4) + ": play the same tone for both";
}

std::string other_level(Decibels moved, Decibels attenuation) {
  return "The tone changes by " + format_fixed(moved, 2, Sign::always) +
         " in the second recording, where " + format_quantity(attenuation) +
         " more attenuation must make it " + format_fixed(-attenuation, 2) +
         ": give the attenuation that was added, and leave volume, gain and input level alone";
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
  if (found.source == OverloadSource::amplifier && findings.cause)
    findings.cause->input_excluded = true;
  if (found.source == OverloadSource::input && findings.verdict == Verdict::clipped) {
    findings.verdict = Verdict::input_overload;
    findings.input_overload.present = true;
    findings.cause.emplace();
    findings.cause->kind = CauseKind::input_overload;
    findings.cause->sentence = found.sentence;
    findings.cause->remedy = "Lower the input level, or take more attenuation, and record again.";
    findings.reasons.insert(findings.reasons.begin(), found.sentence);
  }
  if (found.source == OverloadSource::amplifier && findings.verdict == Verdict::input_overload) {
    findings.verdict = Verdict::clipped;
    findings.input_overload.present = false;
    findings.cause.reset();  // that of an overload; by how much it clips, the input hides
    findings.reasons.front() = found.sentence;  // it was the sentence about the overload
  }
}

}  // namespace railtap::judge
