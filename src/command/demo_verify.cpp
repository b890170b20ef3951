// SPDX-License-Identifier: MIT
// The verification track at a control's terminals, before and after what it finds is put right.
#include "command/demo_verify.hpp"

#include <algorithm>
#include <ostream>
#include <string>

#include "command/verify_capture.hpp"
#include "signal/tone.hpp"

namespace railtap::command {
namespace {

// As in the kit.
constexpr Dbfs verify_level{-15.0}, steady_tone_level{-20.0};

/// One channel sums both sides, and is meant to have its low-pass.
bool is_summed(const ControlPlate& plate) {
  return plate.inputs.size() == 1;
}

judge::VerificationLimits limits_for(const ControlPlate& plate, Volts volts_per_full_scale) {
  judge::VerificationLimits limits;
  limits.volts_per_full_scale = volts_per_full_scale;
  if (!is_summed(plate)) return limits;
  limits.expected = {judge::Carries::both};
  limits.filters_allowed = true;
  return limits;
}

report::VerificationDocument verify(const Bench& bench, const DemoFolder& folder,
                                    const VerifyTracks& tracks, std::size_t control, int volume,
                                    Volts volts_per_full_scale, const std::string& moment) {
  const ControlPlate& plate = bench.controls[control];
  const auto& track = is_summed(plate) ? tracks.summed : tracks.pair;
  const std::string name = bench.controls[control].name + "-verify-" + moment;
  const auto path =
      write_capture(folder, name, bench.record(track, {control}, {volume, volume, Seconds(0.0)}));
  VerifyCapture capture = measure_verification(path, 1);
  report::VerificationDocument document;
  document.limits = limits_for(plate, volts_per_full_scale);
  document.files.push_back(std::move(capture.file));
  for (std::size_t c = 0; c < capture.channels.size(); ++c)
    capture.channels[c].name = plate.inputs[c];
  document.verification = judge::judge_verification(capture.channels, nullptr, document.limits);
  files::write_file(folder.result(name), report::verification_json(document).line() + "\n",
                    folder.overwrite);
  return document;
}

bool is_swapped(const judge::Verification& verification) {
  const auto carries = [&](std::size_t channel, judge::Carries what) {
    const auto& identity = verification.channels[channel].identity;
    return identity && identity->carries == what;
  };
  return carries(0, judge::Carries::right) && carries(1, judge::Carries::left);
}

bool is_inverted(const judge::ChannelVerification& channel) {
  return channel.polarity && channel.polarity->polarity == judge::Polarity::inverted;
}

bool has_pass_filter(const judge::Verification& verification) {
  return std::any_of(
      verification.channels.begin(), verification.channels.end(), [](const auto& channel) {
        if (!channel.filters) return false;
        const auto& filters = channel.filters->filters;
        return std::any_of(filters.begin(), filters.end(), [](const judge::Filter& f) {
          return f.kind == judge::FilterKind::high_pass || f.kind == judge::FilterKind::low_pass;
        });
      });
}

void add_faults(std::vector<std::string>& to, const std::vector<judge::Finding>& findings) {
  for (const judge::Finding& f : findings) {
    const bool known = std::find(to.begin(), to.end(), f.text) != to.end();
    if (f.severity == judge::Severity::fault && !known) to.push_back(f.text);
  }
}

std::vector<std::string> faults_of(const judge::Verification& verification) {
  std::vector<std::string> list;
  if (verification.pair) add_faults(list, verification.pair->findings);
  for (const auto& channel : verification.channels) add_faults(list, channel.findings);
  return list;
}

/// At most one per channel and thing done. The polarity first: it belongs to the pair of wires,
/// which may then go to the other channel.
std::vector<std::string> put_right(const Bench& bench, std::size_t control,
                                   const judge::Verification& found) {
  std::vector<std::string> done;
  for (std::size_t c = 0; c < found.channels.size(); ++c) {
    if (!is_inverted(found.channels[c])) continue;
    bench.exchange_polarity(control, c);
    done.push_back("exchanged plus and minus of " + judge::called(found.channels[c]));
  }
  if (is_summed(bench.controls[control])) return done;
  if (is_swapped(found)) {
    bench.exchange_pair(control);
    done.emplace_back("exchanged the pairs of left and right");
  }
  if (has_pass_filter(found)) {
    bench.switch_filters_off(control);
    done.emplace_back("switched the filter off");
  }
  return done;
}

std::vector<std::string> sides_of(const judge::Verification& verification) {
  std::vector<std::string> sides;
  for (const auto& channel : verification.channels) {
    if (channel.identity) sides.emplace_back(judge::name(channel.identity->carries));
  }
  return sides;
}

VerifiedControl verify_control(const Bench& bench, const DemoFolder& folder,
                               const VerifyTracks& tracks, std::size_t control, int volume,
                               Volts volts_per_full_scale) {
  const auto look = [&](const std::string& moment) {
    return verify(bench, folder, tracks, control, volume, volts_per_full_scale, moment);
  };
  VerifiedControl verified;
  report::DemoVerification& result = verified.outcome;
  result.control = bench.controls[control].name;
  verified.found = look("found");
  const judge::Verification& found = verified.found.verification;
  result.found = result.left = faults_of(found);
  result.carries = sides_of(found);
  result.corrected = put_right(bench, control, found);
  if (result.corrected.empty()) return verified;
  verified.corrected = look("corrected");
  result.left = faults_of(verified.corrected->verification);
  result.carries = sides_of(verified.corrected->verification);
  return verified;
}

void tell(std::ostream& notes, const report::DemoVerification& v) {
  if (v.found.empty()) notes << v.control << ": verified, no fault found\n";
  for (const auto& text : v.found) notes << report::about(v.control, text) << '\n';
  for (const auto& text : v.corrected) notes << v.control << ": " << text << '\n';
  if (!v.corrected.empty()) {
    notes << v.control << ": verified again, "
          << (v.left.empty() ? "no fault found now" : "not all is right yet") << '\n';
  }
}

}  // namespace

signal::Track verify_track() {
  constexpr auto both = signal::Channels::both;
  constexpr auto mid = signal::MarkerBand::mid;
  signal::Track track;
  track.name = "verify";
  track.title = "Verification: channels, polarity, sweep, silence";
  track.parts = {
      {signal::ChannelPattern{verify_level}, both, mid},
      {signal::PolarityPulses{Hertz(500.0), verify_level, Seconds(1.0)}, both, mid},
      {signal::LogSweep{Hertz(20.0), Hertz(19000.0), verify_level, Seconds(4.0)}, both, mid},
      {signal::Silence{Seconds(1.0)}, both, mid}};
  return track;
}

signal::Track verify_bass_track() {
  constexpr auto both = signal::Channels::both;
  constexpr auto low = signal::MarkerBand::low;
  constexpr int first = 13, steps = 11;  // 20 to 200 Hz
  signal::Track track;
  track.name = "verify-bass";
  track.title = "Verification of bass: channels, polarity, sweep, steady tones, silence";
  track.parts = {
      {signal::ChannelPattern{verify_level}, both, low},
      {signal::PolarityPulses{Hertz(35.0), verify_level, Seconds(2.0)}, both, low},
      {signal::LogSweep{Hertz(15.0), Hertz(500.0), verify_level, Seconds(4.0)}, both, low},
      {signal::SteppedSine{signal::third_octaves(first, steps), steady_tone_level, Seconds(1.0)},
       both, low},
      {signal::Silence{Seconds(1.0)}, both, low}};
  return track;
}

std::filesystem::path write_verify_track(const DemoFolder& folder) {
  return write_tone(folder, verify_track());
}

VerifyTracks write_verify_tracks(const Bench& bench, const DemoFolder& folder) {
  const auto is_there = [&](bool summed) {
    return std::any_of(bench.controls.begin(), bench.controls.end(),
                       [&](const ControlPlate& plate) { return is_summed(plate) == summed; });
  };
  VerifyTracks tracks;
  if (is_there(false)) tracks.pair = write_verify_track(folder);
  if (is_there(true)) tracks.summed = write_tone(folder, verify_bass_track());
  return tracks;
}

std::vector<VerifiedControl> verify_controls(const Bench& bench, const DemoFolder& folder,
                                             const VerifyTracks& tracks, int volume,
                                             Volts volts_per_full_scale, std::ostream& notes) {
  std::vector<VerifiedControl> list;
  for (std::size_t control = 0; control < bench.controls.size(); ++control) {
    list.push_back(verify_control(bench, folder, tracks, control, volume, volts_per_full_scale));
    tell(notes, list.back().outcome);
  }
  return list;
}

}  // namespace railtap::command
