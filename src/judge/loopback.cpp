// SPDX-License-Identifier: MIT
// The recording interface by itself: judged from a loopback, and taken out of other responses.
#include "judge/loopback.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

#include "judge/analysis.hpp"
#include "measure/marker.hpp"
#include "measure/recording.hpp"
#include "measure/swept_response.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::judge {

using measure::ResponsePoint;

std::optional<ResponsePoint> take_out(const electric::SoundInterface* interface,
                                      std::vector<ResponsePoint>& points) {
  if (interface == nullptr || interface->response.empty()) return std::nullopt;
  constexpr Hertz reference{1000.0};
  constexpr double turn = 360.0;
  const Response level = between(interface->response, reference);
  std::optional<ResponsePoint> largest;
  for (ResponsePoint& p : points) {
    const Response own = between(interface->response, p.frequency);
    const Decibels part = own.magnitude - level.magnitude;
    const double turned_deg = std::remainder(own.phase_deg - level.phase_deg, turn);
    p.magnitude -= part;
    p.phase_deg = std::remainder(p.phase_deg - turned_deg, turn);
    if (largest && std::abs(part.value()) <= std::abs(largest->magnitude.value())) continue;
    largest = ResponsePoint{p.frequency, part, turned_deg, Decibels(0.0)};
  }
  return largest;
}

namespace {

using measure::FoundMarker;

// A part's start is known within 10 ms, and it has fades.
constexpr Seconds edge{0.3};

template <class Part>
const FoundMarker& find_part(const std::vector<FoundMarker>& markers, const char* what,
                             const std::string& place) {
  const auto found = std::find_if(markers.begin(), markers.end(), [](const FoundMarker& marker) {
    return std::holds_alternative<Part>(marker.announced);
  });
  if (found != markers.end()) return *found;
  throw Error(std::string("the loop-back track's ") + what + " is not in it", place,
              "record the kit's track `loopback` (railtap tones) from before its start to its end, "
              "the output connected to the input");
}

std::span<const double> interior(std::span<const double> samples, Hertz rate, double first,
                                 Seconds length, const std::string& place) {
  const double margin = edge.value() * rate.value();
  const double end = first + length.value() * rate.value() - margin;
  if (end > static_cast<double>(samples.size())) {
    throw Error("the recording ends before the loop-back track does", place,
                "record the track to its end");
  }
  const auto begin = static_cast<std::size_t>(first + margin);
  return samples.subspan(begin, static_cast<std::size_t>(end) - begin);
}

Findings judge_part(std::span<const double> part, Hertz rate, std::optional<double> code_step) {
  const Limits limits;
  measure::RecordingMeter meter(rate, 1, {limits.band, code_step});
  meter.add(part);
  return judge_channel(1, meter.finish().front(), rate, limits).findings;
}

void require_usable(const Findings& tone, const std::string& place) {
  if (tone.verdict == Verdict::clean || tone.verdict == Verdict::distorted) return;
  const bool too_loud = tone.verdict == Verdict::clipped || tone.verdict == Verdict::input_overload;
  const std::string reason = tone.reasons.empty() ? "" : ": " + tone.reasons.front();
  throw Error(
      "the looped-back tone cannot be measured (" + std::string(name(tone.verdict)) + ")" + reason,
      place,
      too_loud ? "lower the output's volume or the input's gain, and record it again"
               : "check the cable from output to input, switch off automatic gain and "
                 "enhancement, and record it again");
}

// Between two points, a twenty-fourth of an octave apart, by more than this. A sweep that is late
// from some place on by a millisecond makes 1 dB and more, an undisturbed one a ten-thousandth
// (tried).
constexpr Decibels least_ripple{0.15};
constexpr double ripple_sigmas = 4.0;
constexpr Hertz ripple_low{50.0}, ripple_high{15000.0};

// How far the response goes up and, elsewhere, down again between neighbours, where that is more
// than noise: the smaller of both, so that a filter's slope is none.
Decibels ripple_of(std::span<const measure::ResponsePoint> points) {
  Decibels rise{0.0}, fall{0.0};
  for (std::size_t i = 1; i < points.size(); ++i) {
    const auto &before = points[i - 1], &after = points[i];
    if (before.frequency < ripple_low || after.frequency > ripple_high) continue;
    const Decibels step = after.magnitude - before.magnitude;
    const double noise_db = std::hypot(before.uncertainty.value(), after.uncertainty.value());
    if (std::abs(step.value()) < ripple_sigmas * noise_db) continue;
    rise = std::max(rise, step);
    fall = std::max(fall, -step);
  }
  return std::min(rise, fall);
}

void require_undisturbed(std::span<const measure::ResponsePoint> points, const std::string& place) {
  const Decibels ripple = ripple_of(points);
  if (ripple < least_ripple) return;
  throw Error("the response goes up and down by " + format_fixed(ripple, 1) +
                  " between neighbouring frequencies, so the sweep was interrupted or processed",
              place,
              "close other programs that keep the computer busy, switch off enhancements, and "
              "record it again");
}

void add_response(electric::SoundInterface& interface, std::span<const double> samples, Hertz rate,
                  const FoundMarker& marker, const std::string& place) {
  const auto& sweep = std::get<signal::LogSweep>(marker.announced);
  const auto response = measure::measure_sweep(samples, rate, sweep,
                                               {marker.signal_frame, marker.clock_ratio, false});
  require_undisturbed(response.points, place);
  for (const auto& point : response.points) {
    interface.response.push_back({point.frequency, point.magnitude, point.phase_deg});
  }
  interface.coupling_corner = measure::coupling_corner(response.points, sweep.low);
}

bool at_most(const std::optional<Dbfs>& level, const std::optional<Dbfs>& own) {
  return level && own && *level - *own <= own_spread;
}

}  // namespace

electric::SoundInterface judge_loopback(std::span<const double> samples, Hertz rate,
                                        std::optional<double> code_step, const std::string& place) {
  const auto markers = measure::find_markers(samples, rate);
  const auto& tone = find_part<signal::Sine>(markers, "tone", place);
  const auto& silence = find_part<signal::Silence>(markers, "silence", place);
  const auto& sweep = find_part<signal::LogSweep>(markers, "sweep", place);
  const auto part = [&](const FoundMarker& marker) {
    return judge_part(
        interior(samples, rate, marker.signal_frame, signal::length_of(marker.announced), place),
        rate, code_step);
  };
  const Findings loud = part(tone);
  require_usable(loud, place);
  const Findings quiet = part(silence);
  electric::SoundInterface interface;
  interface.rate = rate;
  interface.thdn = loud.thdn;
  interface.level = loud.level;
  interface.noise = quiet.noise;
  interface.noise_a = quiet.noise_a;
  add_response(interface, samples, rate, sweep, place);
  return interface;
}

NotAbove not_above(const Findings& findings, const electric::SoundInterface& interface) {
  NotAbove result;
  result.noise = at_most(findings.noise, interface.noise);
  result.noise_a = at_most(findings.noise_a, interface.noise_a);
  if (!findings.thdn || !findings.level) return result;
  const auto own = electric::own_thdn(interface, *findings.level);
  result.thdn = own && findings.thdn->value() <= own->value() * amplitude_ratio(own_spread);
  return result;
}

}  // namespace railtap::judge
