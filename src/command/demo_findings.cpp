// SPDX-License-Identifier: MIT
// What the demo learns: from rising levels, found and judged as `railtap onset` does; of wiring and
// filters, verified as found, put right, verified again; and its job record and setup sheet.
#include "command/demo_findings.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <optional>
#include <ostream>
#include <string>
#include <system_error>
#include <utility>

#include "command/recorded.hpp"
#include "command/result_options.hpp"
#include "command/stepped.hpp"
#include "command/verify_capture.hpp"
#include "files/atomic_file.hpp"
#include "judge/turning.hpp"
#include "report/analysis.hpp"
#include "report/onset.hpp"
#include "report/sheet/sheet.hpp"
#include "signal/tone.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::command {

// What the demo learns from rising levels.

std::vector<judge::ChannelOnset> judge_rising_level(const DemoFolder& folder,
                                                    const std::string& name,
                                                    const judge::Limits& limits) {
  const auto path = folder.capture(name);
  const Stepped stepped = measure_steps(path, limits, std::nullopt);
  report::OnsetDocument document;
  document.file_name = path.string();
  document.format = stepped.format;
  document.limits.analysis = limits;
  for (const SteppedChannel& channel : stepped.channels) document.found.push_back(channel.found);
  document.channels = judge_stepped(stepped, document.limits);
  files::write_file(folder.result(name + "-onset"), report::onset_json(document).line() + "\n",
                    folder.overwrite);
  return document.channels;
}

std::optional<Volts> lowest_flat_top(const std::vector<judge::ChannelOnset>& channels) {
  std::optional<Volts> lowest;
  for (const judge::ChannelOnset& channel : channels) {
    if (!channel.flat_top || !channel.flat_top->level_v) continue;
    if (!lowest || *channel.flat_top->level_v < *lowest) lowest = channel.flat_top->level_v;
  }
  return lowest;
}

namespace {

// The rest on each volume, in order: the last one that is reached before the volume is turned on.
std::vector<judge::OnsetStep> rests_of(const judge::ChannelOnset& channel,
                                       const VolumesTried& tried) {
  constexpr Seconds late{0.05};  // an edge is found within this
  std::vector<judge::OnsetStep> rests;
  for (int volume = tried.first; volume <= tried.last; ++volume) {
    const Seconds turned_on = tried.start + tried.dwell * (volume - tried.first + 1);
    const judge::OnsetStep* rest = nullptr;
    for (const judge::OnsetStep& step : channel.steps) {
      if (step.moving || step.start >= turned_on - late) continue;
      if (step.end > turned_on - tried.dwell + late) rest = &step;
    }
    if (rest != nullptr) rests.push_back(*rest);
  }
  return rests;
}

std::size_t highest_clean(const std::vector<judge::OnsetStep>& rests,
                          const judge::ChannelOnset& channel) {
  std::size_t clean = 0;
  const auto& limit = channel.flat_top;
  for (std::size_t i = 0; i < rests.size(); ++i) {
    const bool below = !limit || !rests[i].level || *rests[i].level <= limit->level;
    if (rests[i].verdict == judge::Verdict::clean && below) clean = i;
  }
  return clean;
}

}  // namespace

report::DemoHeadUnit head_unit_limit(const std::vector<judge::ChannelOnset>& channels,
                                     VolumesTried tried, const std::string& place) {
  const int count = tried.last - tried.first + 1;
  std::vector<judge::OnsetStep> worst;
  std::size_t worst_clean = 0;
  for (const judge::ChannelOnset& channel : channels) {
    const auto rests = rests_of(channel, tried);
    if (!channel.highest_clean_step || std::ssize(rests) != count) {
      throw Error(
          "volume " + std::to_string(tried.first) + " is not clean, or the steps were not found",
          place, "describe a head unit that is clean at three fifths of its volume");
    }
    const std::size_t clean = highest_clean(rests, channel);
    if (!worst.empty() && clean >= worst_clean) continue;
    worst = rests;
    worst_clean = clean;
  }
  report::DemoHeadUnit unit;
  unit.steps = tried.last;
  unit.highest_clean_step = tried.first + static_cast<int>(worst_clean);
  unit.clean_level = worst[worst_clean].level_v.value_or(Volts(0.0));
  if (worst_clean + 1 < worst.size())
    unit.next_overdrive = judge::larger_overdrive(worst[worst_clean + 1]);
  unit.onset = lowest_flat_top(channels);
  return unit;
}

// The verification track at a control's terminals, before and after what it finds is put right.

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
          << (v.left.empty() ? "no fault found now" : "faults remain") << '\n';
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

// What the demo plays, written as files first.

namespace {

constexpr Hertz kilohertz{1000.0};

signal::Track track_of(const std::string& name, signal::Signal signal,
                       signal::MarkerBand marker = signal::MarkerBand::none) {
  signal::Track track;
  track.name = name;
  track.title = signal::describe(signal);
  track.parts = {{std::move(signal), signal::Channels::both, marker}};
  return track;
}

std::string named(const std::string& kind, Hertz frequency) {
  return kind + "-" + std::to_string(std::lround(frequency.value())) + "hz";
}

/// 1 kHz where the meter can read it, else a lower tone that it can.
Hertz calibration_tone(const electric::Meter& meter) {
  constexpr Hertz lower{200.0};
  for (const Hertz tone : {kilohertz, lower}) {
    const bool high_enough = !meter.lowest_frequency || tone >= *meter.lowest_frequency;
    const bool low_enough = !meter.highest_frequency || tone <= *meter.highest_frequency;
    if (high_enough && low_enough) return tone;
  }
  return meter.highest_frequency.value_or(lower);
}

std::filesystem::path write_sine(const DemoFolder& folder, const std::string& name, Hertz frequency,
                                 Seconds length) {
  return write_tone(folder, track_of(name, signal::Sine{frequency, demo_level, length}));
}

/// The marker that passes the filters that a channel with this set-up tone may have.
signal::MarkerBand marker_for(Hertz tone) {
  constexpr Hertz bass_below{200.0};
  return tone < bass_below ? signal::MarkerBand::low : signal::MarkerBand::mid;
}

ControlTones write_control_tones(const DemoFolder& folder, Hertz tone) {
  const signal::LevelLadder ladder{tone, demo_level - ladder_range, demo_level, ladder_step,
                                   ladder_dwell};
  return {write_sine(folder, named("turn", tone), tone, Seconds(1.0)),
          write_sine(folder, named("set", tone), tone, Seconds(2.0)),
          write_tone(folder, track_of(named("ladder", tone), ladder, marker_for(tone)))};
}

}  // namespace

int first_volume(const Bench& bench) {
  return std::max(1, bench.volume_steps * 3 / 5);
}

DemoTones write_tones(const Bench& bench, const DemoFolder& folder) {
  DemoTones tones;
  tones.calibration_tone = calibration_tone(bench.meter);
  tones.calibration = write_sine(folder, named("calibration", tones.calibration_tone),
                                 tones.calibration_tone, Seconds(2.0));
  const double steps = bench.volume_steps - first_volume(bench) + 1;
  tones.volume = write_sine(folder, named("volume", kilohertz), kilohertz,
                            volume_dwell * steps + Seconds(0.2) + bench.way_back);
  tones.silence = write_tone(folder, track_of("silence", signal::Silence{Seconds(1.5)}));
  tones.verify = write_verify_tracks(bench, folder);
  for (const ControlPlate& plate : bench.controls) {
    tones.controls.push_back(write_control_tones(folder, plate.setup_tone));
  }
  return tones;
}

// Writing the demo's job record and setup sheet.

namespace {

/// A recording as it is named from the demo's folder, so that the record may be moved with it.
std::string name_in_folder(const std::filesystem::path& capture) {
  return "captures/" + capture.filename().string();
}

// A list in which one channel has a name. \param channel from 0
std::vector<std::string> names_with(const std::string& name, std::size_t channel) {
  std::vector<std::string> names(channel + 1);
  names.back() = name;
  return names;
}

using system::Json;

/// A control's channels, with the keys of a described system.
void add_channels(Json& channels, const ControlPlate& plate) {
  for (const std::string& input : plate.inputs) {
    channels.push_back({{"name", input},
                        {"control", plate.name},
                        {"rated_power", format_quantity(plate.amplifier_power)},
                        {"rated_load", format_quantity(plate.load)},
                        {"speaker", format_quantity(plate.speaker_power) + " speaker"}});
  }
}

/// What the plates say, with the same keys. Controls of one amplifier follow each other.
Json system_of(const Bench& bench) {
  Json amplifiers = Json::array();
  for (auto plate = bench.controls.begin(); plate != bench.controls.end();) {
    const std::string& amplifier = plate->amplifier;
    Json channels = Json::array();
    for (; plate != bench.controls.end() && plate->amplifier == amplifier; ++plate)
      add_channels(channels, *plate);
    amplifiers.push_back({{"name", amplifier}, {"channel", std::move(channels)}});
  }
  return {{"name", bench.system},
          {"head_unit", {{"volume_steps", bench.volume_steps}}},
          {"amplifier", std::move(amplifiers)}};
}

}  // namespace

DemoRecord::DemoRecord(const Bench& bench, DemoFolder folder)
    : folder_(std::move(folder)), system_(system_of(bench)) {
  // An earlier demo's, in a folder that may be overwritten.
  std::error_code ignored;
  std::filesystem::remove(path(), ignored);
}

void DemoRecord::append(const std::string& kind, Json document, const DemoSubject& about) const {
  RecordingOptions options;
  options.file = path().string();
  options.subject = about.subject;
  options.stage = about.stage;
  options.moment = about.moment;
  options.note = about.note;
  write_down(options, kind, std::move(document), calibration_, system_);
}

void DemoRecord::add_calibration(const report::CalibrationDocument& document,
                                 const system::CalibrationRecord& calibration) {
  calibration_ = calibration_summary(calibration, "calibration.toml");
  append("calibration", report::calibration_json(document), {"", "source", "", ""});
}

void DemoRecord::add_analysis(const std::string& capture, const Recorded& recorded,
                              std::size_t channel, const judge::Limits& limits,
                              const DemoSubject& about) const {
  const auto path = folder_.capture(capture);
  report::AnalysisDocument document;
  document.file_name = name_in_folder(path);
  document.format = recorded.format;
  document.frames = recorded.frames;
  document.limits = limits;
  document.channels = {recorded.analyses[channel]};
  document.names = names_with(about.subject, channel);
  document.curves = {curves_of_recording(path, recorded, limits)[channel]};
  append("analysis", report::analysis_json(document), about);
}

void DemoRecord::add_verification(report::VerificationDocument document, std::size_t channel,
                                  const DemoSubject& about) const {
  for (report::VerifiedFile& file : document.files) file.name = name_in_folder(file.name);
  judge::ChannelVerification& verified = document.verification.channels[channel];
  verified.file = name_in_folder(verified.file);
  append("verification", report::verification_json(document, channel), about);
}

void DemoRecord::add_onset(const std::string& capture, std::size_t channel,
                           const judge::Limits& limits, const DemoSubject& about) const {
  const auto path = folder_.capture(capture);
  const Stepped stepped = measure_steps(path, limits, std::nullopt);
  report::OnsetDocument document;
  document.file_name = name_in_folder(path);
  document.format = stepped.format;
  document.limits.analysis = limits;
  document.found = {stepped.channels[channel].found};
  document.channels = {judge_stepped_channel(stepped, channel, document.limits)};
  document.names = names_with(about.subject, channel);
  append("onset", report::onset_json(document), about);
}

void DemoRecord::add_target(const electric::ChannelTarget& target,
                            const electric::Conditions& conditions,
                            const DemoSubject& about) const {
  append("target", report::target_json(std::span(&target, 1), conditions), about);
}

void DemoRecord::add_outcome(const report::DemoDocument& document) const {
  append("demo", report::demo_json(document),
         {"", "", "", "Supply as read at the amplifiers: " + format_quantity(document.supply)});
}

void DemoRecord::write_sheet() const {
  files::write_file(
      folder_.root / "sheet.html",
      report::sheet_html(system::job_record_document(system::read_job_record(path()))),
      folder_.overwrite);
}

}  // namespace railtap::command
