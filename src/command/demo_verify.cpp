// SPDX-License-Identifier: MIT
// The verification track at a control's terminals, before and after what it finds is put right.
#include "command/demo_verify.hpp"

#include <algorithm>
#include <ostream>
#include <string>

#include "command/verify_capture.hpp"
#include "report/verification.hpp"

namespace railtap::command {
namespace {

constexpr Dbfs verify_level{-15.0};  // as in the kit

judge::Verification verify(const Bench& bench, const DemoFolder& folder,
                           const std::filesystem::path& track, std::size_t control, int volume,
                           Volts volts_per_full_scale, const std::string& moment) {
  const std::string name = bench.controls[control].name + "-verify-" + moment;
  const auto path =
      write_capture(folder, name, bench.record(track, {control}, {volume, volume, Seconds(0.0)}));
  VerifyCapture capture = measure_verification(path, 1);
  report::VerificationDocument document;
  document.limits.volts_per_full_scale = volts_per_full_scale;
  document.files.push_back(std::move(capture.file));
  document.verification = judge::judge_verification(capture.channels, nullptr, document.limits);
  files::write_file(folder.result(name), report::verification_json(document) + "\n",
                    folder.overwrite);
  return document.verification;
}

bool is_swapped(const judge::Verification& verification) {
  const auto carries = [&](std::size_t channel, judge::Carries what) {
    const auto& identity = verification.channels[channel].identity;
    return identity && identity->carries == what;
  };
  return carries(0, judge::Carries::right) && carries(1, judge::Carries::left);
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

report::DemoVerification verify_control(const Bench& bench, const DemoFolder& folder,
                                        const std::filesystem::path& track, std::size_t control,
                                        int volume, Volts volts_per_full_scale) {
  const auto look = [&](const std::string& moment) {
    return verify(bench, folder, track, control, volume, volts_per_full_scale, moment);
  };
  report::DemoVerification result;
  result.control = bench.controls[control].name;
  const judge::Verification found = look("found");
  result.found = result.left = faults_of(found);
  if (is_swapped(found)) {
    bench.exchange_pair(control);
    result.corrected.emplace_back("exchanged the pairs of left and right");
  }
  if (has_pass_filter(found)) {
    bench.switch_filters_off(control);
    result.corrected.emplace_back("switched the filter off");
  }
  if (!result.corrected.empty()) result.left = faults_of(look("corrected"));
  return result;
}

void tell(std::ostream& notes, const report::DemoVerification& v) {
  if (v.found.empty()) notes << v.control << ": verified, nothing stands against it\n";
  for (const auto& text : v.found) notes << v.control << ": " << text << '\n';
  for (const auto& text : v.corrected) notes << v.control << ": " << text << '\n';
  if (!v.corrected.empty()) {
    notes << v.control << ": verified again, "
          << (v.left.empty() ? "nothing stands against it now" : "not all is right yet") << '\n';
  }
}

}  // namespace

std::filesystem::path write_verify_track(const DemoFolder& folder) {
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
  return write_tone(folder, track);
}

std::vector<report::DemoVerification> verify_controls(const Bench& bench, const DemoFolder& folder,
                                                      const std::filesystem::path& track,
                                                      int volume, Volts volts_per_full_scale,
                                                      std::ostream& notes) {
  std::vector<report::DemoVerification> list;
  for (std::size_t control = 0; control < bench.controls.size(); ++control) {
    // One channel that sums both sides has no pair to be swapped; the kit's bass track is for it.
    if (bench.controls[control].inputs.size() != 2) continue;
    list.push_back(verify_control(bench, folder, track, control, volume, volts_per_full_scale));
    tell(notes, list.back());
  }
  return list;
}

}  // namespace railtap::command
