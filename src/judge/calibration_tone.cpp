// SPDX-License-Identifier: MIT
// Whether a recorded tone is fit to calibrate with, and what it measures if it is.
#include "judge/calibration_tone.hpp"

#include <algorithm>
#include <cmath>

#include "measure/tone_fit.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::judge {
namespace {

using measure::ChannelRecording;
using measure::Segment;

// A player's level holds to a hundredth of a decibel; what moves by more than this adds a percent
// to the result, as much as the meter, and points to automatic gain or a loose contact.
constexpr Decibels steady{0.1};
// A meter needs about this long to settle.
constexpr Seconds shortest_tone{1.0};

std::string joined(const std::vector<std::string>& reasons) {
  std::string text;
  for (const std::string& reason : reasons) text += (text.empty() ? "" : " ") + reason;
  while (!text.empty() && text.back() == '.') text.pop_back();
  return text;
}

const char* remedy_for(Verdict verdict) {
  switch (verdict) {
    case Verdict::clipped:
      return "lower the volume and record the tone again";
    case Verdict::distorted:
      return "use a tone well below clipping and well above the noise, and record it again";
    case Verdict::input_overload:
      return "lower the input's level, or use a larger attenuation";
    case Verdict::no_signal:
      return "check the tap, the input's choice and the channel";
    case Verdict::no_tone:
      return "play one steady tone for some seconds and nothing else";
    default:
      return "record the tone again";
  }
}

void require_clean(const Findings& findings, const std::string& place) {
  if (findings.verdict == Verdict::clean) return;
  throw Error("the tone is not suitable for calibration (" + std::string(name(findings.verdict)) +
                  "): " + joined(findings.reasons),
              place, remedy_for(findings.verdict));
}

double level_ms(const Segment& segment) {
  return segment.measurement.fundamental + segment.measurement.residual;
}

std::vector<const Segment*> tones_in(const ChannelRecording& recording) {
  std::vector<const Segment*> tones;
  for (const Segment& segment : recording.segments) {
    if (segment.measurement.tone) tones.push_back(&segment);
  }
  return tones;
}

const Segment& longest_tone(const std::vector<const Segment*>& tones, const std::string& place) {
  if (tones.empty()) throw Error("there is no steady tone", place, remedy_for(Verdict::no_tone));
  const auto length = [](const Segment* s) { return s->end_frame - s->first_frame; };
  return **std::max_element(tones.begin(), tones.end(), [&](const Segment* a, const Segment* b) {
    return length(a) < length(b);
  });
}

/// Of two levels in one recording it is unknown which one the meter showed.
void require_one_level(const std::vector<const Segment*>& tones, const Segment& chosen,
                       const std::string& place) {
  for (const Segment* other : tones) {
    const Decibels step = decibels_from_power_ratio(level_ms(*other) / level_ms(chosen));
    if (std::abs(step.value()) <= steady.value()) continue;
    // Far below the tone it is the end of it, or hum before it.
    constexpr Decibels far_below{-40.0};
    if (step < far_below) continue;
    throw Error("the tone's level changes by " + format_fixed(step, 2, Sign::always) +
                    " within the recording, so it is not known which level was read",
                place, "record one level only");
  }
}

void require_steady(const Segment& tone, Hertz rate, const std::string& place) {
  const Seconds length(static_cast<double>(tone.end_frame - tone.first_frame) / rate.value());
  if (length < shortest_tone) {
    throw Error("the steady tone lasts " + format_quantity(length, 2) + " only", place,
                "record it for some seconds while the meter is read");
  }
  if (tone.level_spread_db > steady.value()) {
    throw Error(
        "the tone's level moves by " + format_fixed(Decibels(tone.level_spread_db), 2), place,
        "switch off automatic gain and noise suppression, check the contacts, record again");
  }
}

}  // namespace

int loudest_channel(const std::vector<ChannelAnalysis>& channels) {
  const auto rank = [](const ChannelAnalysis& analysis) {
    const Findings& f = analysis.findings;
    return std::pair(f.frequency.has_value(), f.level ? f.level->value() : -1e9);
  };
  return std::max_element(channels.begin(), channels.end(),
                          [&](const auto& a, const auto& b) { return rank(a) < rank(b); })
      ->channel;
}

CalibrationCapture calibration_capture(const ChannelRecording& recording,
                                       const ChannelAnalysis& analysis, Hertz rate,
                                       const std::string& place) {
  require_clean(analysis.findings, place);
  const auto tones = tones_in(recording);
  const Segment& tone = longest_tone(tones, place);
  require_one_level(tones, tone, place);
  require_steady(tone, rate, place);
  const double rms = std::sqrt(level_ms(tone));
  return {analysis.channel,
          rms,
          measure::form_factor(tone.measurement.series),
          Decibels(tone.level_spread_db),
          tone.measurement.series.fundamental,
          dbfs_from_sine_peak(rms * std::sqrt(2.0)),
          analysis.findings.thdn.value_or(Percent(0.0))};
}

}  // namespace railtap::judge
