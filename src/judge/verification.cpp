// SPDX-License-Identifier: MIT
// What a verification finds: channels, polarity, filters, and what is left in the silence between:
// hiss and hum.
#include "judge/verification.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "electric/target.hpp"
#include "judge/analysis.hpp"
#include "judge/loopback.hpp"
#include "judge/sentence.hpp"
#include "signal/marker.hpp"
#include "units/print.hpp"

namespace railtap::judge {

// Powers of silence as levels, volts and sound.

namespace {

constexpr double full_scale_sine_mean_square = 0.5;
// Weaker lines are any converter's own.
constexpr Decibels weakest_line{-100.0};

std::optional<Dbfs> level(double mean_square) {
  if (!(mean_square > 0.0)) return std::nullopt;
  return Dbfs(10.0 * std::log10(mean_square / full_scale_sine_mean_square));
}

std::optional<Volts> volts(std::optional<Dbfs> of, const SilenceContext& context) {
  if (!of || !context.volts_per_full_scale) return std::nullopt;
  return *context.volts_per_full_scale * (sine_peak(*of) / std::numbers::sqrt2);
}

// Takes the interface's own noise off, down to a tenth of the power: less is not known.
double without_interface(double noise_a, SilenceFindings& findings, const SilenceContext& context) {
  if (!context.interface_noise_a) return noise_a;
  const double peak = sine_peak(*context.interface_noise_a);
  const double own = peak * peak * full_scale_sine_mean_square;
  findings.interface_bound = own > 0.5 * noise_a;
  constexpr double least_share = 0.1;
  return std::max(noise_a - own, least_share * noise_a);
}

std::vector<SilenceLine> lines_of(const measure::SilenceReading& reading,
                                  const SilenceContext& context) {
  std::vector<SilenceLine> list;
  for (const auto& line : reading.lines) {
    const auto at = level(line.mean_square);
    if (!at) continue;
    SilenceLine said{line.frequency, kind_of_line(line.frequency), *at, volts(at, context), {}};
    if (context.programme) said.re_programme = *at - *context.programme;
    if (context.programme && *said.re_programme < weakest_line) continue;
    list.push_back(said);
  }
  return list;
}

}  // namespace

SilenceFindings judge_silence(const measure::SilenceReading& reading,
                              const SilenceContext& context) {
  SilenceFindings findings;
  findings.length = reading.length;
  findings.hiss = level(reading.noise);
  findings.hiss_a = level(without_interface(reading.noise_a, findings, context));
  findings.whole_a = level(reading.whole_a);
  findings.hiss_v = volts(findings.hiss, context);
  findings.hiss_a_v = volts(findings.hiss_a, context);
  findings.whole_a_v = volts(findings.whole_a, context);
  if (findings.hiss_a_v && context.sensitivity)
    findings.hiss_sound_level = electric::sound_level(*findings.hiss_a_v, *context.sensitivity);
  if (findings.hiss_a && context.programme)
    findings.hiss_re_programme = *findings.hiss_a - *context.programme;
  findings.lines = lines_of(reading, context);
  return findings;
}

// One verdict from channels, polarity, response and silence.

namespace {

using measure::ResponsePoint;

// --- Response ----------------------------------------------------------------------------------

// Power sum of the harmonics that stood out, at the frequency where it is highest.
std::optional<SweptDistortion> distortion_of(const measure::SweptResponse& response) {
  std::optional<SweptDistortion> highest;
  for (std::size_t first = 0; first < response.harmonics.size();) {
    const Hertz frequency = response.harmonics[first].frequency;
    double power = 0.0;
    std::size_t k = first;
    for (; k < response.harmonics.size() && response.harmonics[k].frequency == frequency; ++k) {
      const auto& h = response.harmonics[k];
      if (h.above_noise) power += std::pow(10.0, h.level.value() / 10.0);
    }
    const Percent thd(100.0 * std::sqrt(power));
    if (power > 0.0 && (!highest || thd > highest->thd)) highest = {frequency, thd};
    first = k;
  }
  return highest;
}

void say_filters(const ResponseFindings& found, const VerificationLimits& limits, Words& words) {
  std::vector<Filter> passes, others;
  for (const Filter& f : found.filters) {
    const bool pass = f.kind == FilterKind::high_pass || f.kind == FilterKind::low_pass;
    (pass ? passes : others).push_back(f);
  }
  for (const std::string& text : in_words(passes)) {
    if (limits.filters_allowed) {
      words.note(text + ".");
    } else {
      words.fault(text +
                  "; it should be off while gains are set (--allow-filters if it is meant).");
    }
  }
  for (const std::string& text : in_words(others)) words.fault(text + "; it should be off.");
  if (found.misfit > limits.flatness) {
    words.caution(sentence("No filter explains the response at %.3g Hz: it is off by %.1f dB.",
                           found.misfit_at.value(), found.misfit.value()));
  }
  if (found.filters.empty() && found.misfit <= limits.flatness) {
    words.note(sentence("The response is flat within %+.1f and %+.1f dB.", found.lowest.value(),
                        found.highest.value()));
  }
}

void add_sweep(ChannelVerification& channel, const ChannelMeasurements& measured,
               const electric::SoundInterface* interface, const VerificationLimits& limits) {
  Words words(channel.findings);
  if (!measured.sweep) {
    return words.caution(measured.stepped
                             ? "No sweep was found; the response is known at the steady tones only."
                             : "No sweep was found; the response is not known.");
  }
  channel.response = measured.sweep->response.points;
  channel.interface_part = take_out(interface, channel.response);
  channel.filters = recognise_filters(channel.response);
  if (!channel.filters) {
    const bool silent = channel.identity && channel.identity->carries == Carries::silent;
    if (!silent) words.caution("The sweep is not above the noise.");
    return;
  }
  say_filters(*channel.filters, limits, words);
  channel.distortion = distortion_of(measured.sweep->response);
  if (channel.distortion && channel.distortion->thd > limits.distortion) {
    words.fault(
        sentence("Harmonic distortion of %.2g %% at %.3g Hz in a sweep that should be clean.",
                 channel.distortion->thd.value(), channel.distortion->frequency.value()));
  }
}

void add_steady_tones(ChannelVerification& channel, const ChannelMeasurements& measured,
                      const electric::SoundInterface* interface, const VerificationLimits& limits) {
  if (!measured.stepped) return;
  const SteadyToneLimits of_tones{
      {limits.distortion, limits.volts_per_full_scale, steady_tone_band(measured.stepped->played)},
      limits.distortion,
      limits.agreement};
  SweptChannel swept;
  if (channel.filters) swept = {&channel.response, channel.filters->level};
  channel.steady_tones = judge_steady_tones(*measured.stepped, swept, interface, of_tones);
  Words words(channel.findings);
  const bool silent = channel.identity && channel.identity->carries == Carries::silent;
  if (!channel.steady_tones->reference && !silent)
    return words.caution("None of the steady tones is above the noise.");
  // Where there is a sweep it has said them.
  const auto& filters = channel.steady_tones->filters;
  if (!channel.filters && filters) say_filters(*filters, limits, words);
  say_steady_tones(*channel.steady_tones, of_tones, channel.findings);
}

// --- Channel and polarity ------------------------------------------------------------------------

PatternResponse pattern_response(const std::vector<ResponsePoint>& points) {
  PatternResponse response;
  if (points.empty()) return response;
  const signal::PatternBurst& left = signal::pattern_bursts[0];
  const signal::PatternBurst& right = signal::pattern_bursts[1];
  const std::array<double, 4> hz{left.low_hz, left.high_hz, right.low_hz, right.high_hz};
  for (std::size_t i = 0; i < hz.size(); ++i) {
    // Only where it was measured; a filter's slope goes on beyond it.
    if (hz[i] < points.front().frequency.value() || hz[i] > points.back().frequency.value())
      continue;
    response[i] = between(points, Hertz(hz[i])).magnitude;
  }
  return response;
}

std::string expected_words(Carries carries) {
  switch (carries) {
    case Carries::left:
      return "the left side";
    case Carries::right:
      return "the right side";
    case Carries::both:
      return "both sides";
    default:
      return name(carries);
  }
}

void say_identity(ChannelVerification& channel) {
  Words words(channel.findings);
  const Carries found = channel.identity->carries;
  if (found == Carries::cannot_tell) return words.caution(channel.identity->reason);
  if (found == Carries::silent) {
    return words.fault((channel.name.empty() ? "The channel" : channel.name) + " is silent. " +
                       channel.identity->reason);
  }
  const std::string carries =
      (channel.name.empty() ? "It" : channel.name) + " carries " + expected_words(found);
  if (!channel.expected || *channel.expected == found) return words.note(carries + ".");
  words.fault(carries + " instead of " + expected_words(*channel.expected) + ".");
}

void add_identity(ChannelVerification& channel, const ChannelMeasurements& measured) {
  if (!measured.pattern) {
    Words(channel.findings)
        .caution("No channel pattern was found; which side plays here is not known.");
    return;
  }
  std::vector<ResponsePoint> points;
  if (measured.sweep) points = measured.sweep->response.points;
  channel.identity = judge_channel_identity(*measured.pattern, pattern_response(points));
  say_identity(channel);
}

// The pulses went through the interface as well, so its part belongs to what turned them.
std::vector<Filter> passed_on_the_way(const ChannelVerification& channel,
                                      const ChannelMeasurements& measured) {
  std::optional<ResponseFindings> found = channel.filters;
  if (channel.interface_part) found = recognise_filters(measured.sweep->response.points);
  if (!found) return {};
  found->filters.insert(found->filters.end(), found->coupling.begin(), found->coupling.end());
  return found->filters;
}

void add_polarity(ChannelVerification& channel, const ChannelMeasurements& measured) {
  Words words(channel.findings);
  if (channel.identity && channel.identity->carries == Carries::silent) return;
  if (!measured.pulses) return words.caution("No polarity pulses were found.");
  std::array<double, signal::polarity_amplitudes.size()> turns{};
  const std::vector<Filter> filters = passed_on_the_way(channel, measured);
  for (std::size_t k = 0; k < turns.size(); ++k)
    turns[k] = phase_turn(filters, measured.pulses->fundamental * static_cast<double>(k + 1));
  channel.polarity =
      judge_polarity(measure::fit_polarity(*measured.pulses, turns), !filters.empty());
  switch (channel.polarity->polarity) {
    case Polarity::in:
      return words.note("The polarity is right.");
    case Polarity::inverted:
      return words.fault((channel.name.empty() ? "The polarity" : channel.name) +
                         " is inverted: plus and minus are exchanged somewhere on the way.");
    case Polarity::cannot_tell:
      return words.caution("The polarity cannot be told. " + channel.polarity->reason);
  }
}

// --- Silence
// ----------------------------------------------------------------------------------------

void say_hiss(ChannelVerification& channel, const VerificationLimits& limits) {
  const SilenceFindings& silence = *channel.silence;
  if (!silence.hiss_sound_level) return;
  Words words(channel.findings);
  const double level = silence.hiss_sound_level->value();
  const double quiet = limits.quiet_cabin.value();
  const std::string bound = silence.interface_bound ? " at most" : "";
  // Ten decibels below the background it is lost in it (common practice).
  constexpr double inaudible_below = 10.0;
  if (level > quiet) {
    words.fault(
        "The hiss is" + bound +
        sentence(" %.0f dB(A) at 1 m, louder than a quiet cabin of %.0f dB(A): too much gain "
                 "here, or too little before it.",
                 level, quiet));
  } else {
    words.note("The hiss is" + bound + sentence(" %.0f dB(A) at 1 m", level) +
               (level > quiet - inaudible_below ? ", which can be heard in a quiet cabin."
                                                : ", which is not heard in a quiet cabin."));
  }
}

void say_lines(ChannelVerification& channel, const VerificationLimits& limits) {
  Words words(channel.findings);
  for (const SilenceLine& line : channel.silence->lines) {
    if (!line.re_programme || *line.re_programme < limits.interference) continue;
    words.fault(line.kind +
                sentence(" at %.4g Hz, %.0f dB below a full-scale programme",
                         line.frequency.value(), -line.re_programme->value()) +
                (line.level_v ? ", " + format_quantity(*line.level_v, 3) : "") + ".");
  }
}

void add_silence(ChannelVerification& channel, const ChannelMeasurements& measured,
                 const electric::SoundInterface* interface, const VerificationLimits& limits) {
  if (!measured.silence || measured.silence->length.value() <= 0.0) {
    Words(channel.findings).caution("No silence was found; hiss and hum are not known.");
    return;
  }
  SilenceContext context{limits.volts_per_full_scale, limits.sensitivity, {}, {}};
  if (channel.filters) context.programme = Dbfs(0.0) + channel.filters->level;
  if (interface != nullptr) context.interface_noise_a = interface->noise_a;
  channel.silence = judge_silence(*measured.silence, context);
  say_hiss(channel, limits);
  say_lines(channel, limits);
}

// --- Channels ------------------------------------------------------------------------------------

std::optional<Carries> expected_of(std::size_t index, std::size_t channels,
                                   const VerificationLimits& limits) {
  if (index < limits.expected.size()) return limits.expected[index];
  if (!limits.expected.empty() || channels != 2) return std::nullopt;
  return index == 0 ? Carries::left : Carries::right;
}

// A recording of the stepped tones alone is no verification that lacks its parts.
bool holds_steady_tones_alone(const ChannelMeasurements& measured) {
  return measured.stepped && !measured.pattern && !measured.pulses && !measured.sweep &&
         !measured.silence;
}

void add_parts(ChannelVerification& channel, const ChannelMeasurements& measured,
               const electric::SoundInterface* interface, const VerificationLimits& limits) {
  if (holds_steady_tones_alone(measured)) {
    add_steady_tones(channel, measured, interface, limits);
    Words(channel.findings)
        .caution(
            "Only steady tones were found; channel, polarity, hiss and the response above "
            "them are not known.");
    return;
  }
  add_identity(channel, measured);
  add_sweep(channel, measured, interface, limits);
  add_steady_tones(channel, measured, interface, limits);
  add_polarity(channel, measured);
  add_silence(channel, measured, interface, limits);
}

ChannelVerification judge_channel(const ChannelMeasurements& measured,
                                  const electric::SoundInterface* interface,
                                  const VerificationLimits& limits,
                                  std::optional<Carries> expected) {
  ChannelVerification channel;
  channel.channel = measured.channel;
  channel.file = measured.file;
  channel.name = measured.name;
  channel.expected = expected;
  add_parts(channel, measured, interface, limits);
  if (measured.at_full_scale) {
    Words(channel.findings)
        .fault("The recording input was overloaded: samples are at full scale; lower its level.");
  }
  return channel;
}

// --- Two channels against each other -------------------------------------------------------------

// Mean difference over the frequencies that both pass within 10 dB of their level.
std::optional<Decibels> match_of(const ChannelVerification& a, const ChannelVerification& b) {
  constexpr Decibels passed{10.0};
  if (!a.filters || !b.filters) return std::nullopt;
  double sum = 0.0;
  int count = 0;
  for (const ResponsePoint& p : a.response) {
    const auto same = std::find_if(b.response.begin(), b.response.end(), [&](const auto& q) {
      return std::abs(std::log(q.frequency / p.frequency)) < 1e-6;
    });
    if (same == b.response.end() || p.magnitude < a.filters->level - passed ||
        same->magnitude < b.filters->level - passed)
      continue;
    sum += (same->magnitude - p.magnitude).value();
    ++count;
  }
  if (count == 0) return std::nullopt;
  return Decibels(sum / count);
}

bool one_sided(const std::optional<ChannelIdentity>& identity) {
  return identity && (identity->carries == Carries::left || identity->carries == Carries::right);
}

// What of `from`'s side arrives in `into`, over what arrives in `from` itself, by the upper lines.
std::optional<Crosstalk> crosstalk(const ChannelVerification& from, const ChannelVerification& into,
                                   const ChannelMeasurements& from_measured,
                                   const ChannelMeasurements& into_measured) {
  if (!one_sided(from.identity) || !one_sided(into.identity)) return std::nullopt;
  if (from.identity->carries == into.identity->carries) return std::nullopt;
  const bool left = from.identity->carries == Carries::left;
  const bool low = from.identity->low;
  const auto& own = from_measured.pattern->line(left, low);
  const auto& leaked = into_measured.pattern->line(left, low);
  if (!(own.mean_square > 0.0)) return std::nullopt;
  constexpr double least = 1e-18;
  const double there = std::max({leaked.mean_square, leaked.noise, least});
  return Crosstalk{from.channel, into.channel, decibels_from_power_ratio(there / own.mean_square),
                   !leaked.stands_out()};
}

void say_pair(PairVerification& pair, const Verification& verification,
              const VerificationLimits& limits) {
  Words words(pair.findings);
  const ChannelVerification& first = verification.channels[0];
  const ChannelVerification& second = verification.channels[1];
  if (pair.match && std::abs(pair.match->value()) > limits.match.value()) {
    const bool named = !first.name.empty() && !second.name.empty();
    words.fault((named ? second.name : "The second channel") +
                sentence(" is %+.2f dB against ", pair.match->value()) +
                (named ? first.name : "the first") +
                sentence("; within %.1f dB it would match.", limits.match.value()));
  }
  for (const Crosstalk& c : pair.crosstalk) {
    if (c.below || c.level < -limits.separation) continue;
    const bool onwards = c.from == first.channel;
    words.fault("Crosstalk from " + called(onwards ? first : second) + " into " +
                called(onwards ? second : first) +
                sentence(" is %.1f dB; %.0f dB or less is usual.", c.level.value(),
                         -limits.separation.value()));
  }
}

bool carries(const ChannelVerification& channel, Carries what) {
  return channel.identity && channel.identity->carries == what;
}

PairVerification judge_pair(const Verification& verification,
                            const std::vector<ChannelMeasurements>& measured,
                            const VerificationLimits& limits) {
  const ChannelVerification& first = verification.channels[0];
  const ChannelVerification& second = verification.channels[1];
  PairVerification pair;
  pair.match = match_of(first, second);
  for (const std::size_t from : {std::size_t{0}, std::size_t{1}}) {
    const auto found = crosstalk(verification.channels[from], verification.channels[1 - from],
                                 measured[from], measured[1 - from]);
    if (found) pair.crosstalk.push_back(*found);
  }
  if (carries(first, Carries::right) && carries(second, Carries::left) &&
      first.expected == Carries::left && second.expected == Carries::right) {
    Words(pair.findings)
        .fault("Left and right are swapped: exchange the pairs, or the tap's leads.");
  }
  say_pair(pair, verification, limits);
  return pair;
}

// --- Gain control
// ----------------------------------------------------------------------------------

// A speaker-level source has more volts than needed, so a control needs little of its travel
// (common practice: about a quarter at the most).
constexpr double speaker_level_travel = 0.25;

void say_gain(Verification& verification, const VerificationLimits& limits) {
  if (!limits.gain_position) return;
  Words words(verification.findings);
  const double percent = 100.0 * *limits.gain_position;
  if (limits.source == SourceKind::line_level) {
    return words.note(
        sentence("The gain control is at %.0f %%; with a line-level source that "
                 "says nothing by itself.",
                 percent));
  }
  if (*limits.gain_position <= speaker_level_travel) {
    return words.note(sentence(
        "The gain control is at %.0f %%, as is usual for a speaker-level source.", percent));
  }
  words.caution(
      sentence("The gain control is at %.0f %%: suspicious with a speaker-level source, which "
               "wants a quarter at the most. ",
               percent) +
      "Look for a source that is turned down, a faded output, or an input set to line level.");
}

bool holds(const std::vector<Finding>& findings) {
  return std::all_of(findings.begin(), findings.end(),
                     [](const Finding& f) { return f.severity == Severity::note; });
}

bool is_miswired(const ChannelVerification& channel) {
  if (channel.polarity && channel.polarity->polarity == Polarity::inverted) return true;
  if (!channel.identity) return false;
  const Carries found = channel.identity->carries;
  if (found == Carries::silent) return true;
  return found != Carries::cannot_tell && channel.expected && *channel.expected != found;
}

}  // namespace

ChannelVerdict ChannelVerification::verdict() const {
  if (is_miswired(*this)) return ChannelVerdict::wiring;
  return holds(findings) ? ChannelVerdict::good : ChannelVerdict::look_again;
}

std::string called(const ChannelVerification& channel) {
  return channel_called(channel.name, channel.channel);
}

bool Verification::within_limits() const {
  const bool each = std::all_of(channels.begin(), channels.end(),
                                [](const auto& c) { return holds(c.findings); });
  return each && holds(findings) && (!pair || holds(pair->findings));
}

Verification judge_verification(const std::vector<ChannelMeasurements>& channels,
                                const electric::SoundInterface* interface,
                                const VerificationLimits& limits) {
  Verification verification;
  for (std::size_t k = 0; k < channels.size(); ++k) {
    verification.channels.push_back(
        judge_channel(channels[k], interface, limits, expected_of(k, channels.size(), limits)));
  }
  if (channels.size() >= 2) verification.pair = judge_pair(verification, channels, limits);
  say_gain(verification, limits);
  return verification;
}

const char* name(ChannelVerdict verdict) {
  switch (verdict) {
    case ChannelVerdict::good:
      return "good";
    case ChannelVerdict::wiring:
      return "wiring";
    case ChannelVerdict::look_again:
      return "look-again";
  }
  return "look-again";
}

const char* name(Severity severity) {
  switch (severity) {
    case Severity::fault:
      return "fault";
    case Severity::caution:
      return "caution";
    case Severity::note:
      return "note";
  }
  return "note";
}

}  // namespace railtap::judge
