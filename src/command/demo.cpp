// SPDX-License-Identifier: MIT
// The demo: the whole job, as a person would do it at a car, on a bench.
#include "command/demo.hpp"

#include <algorithm>
#include <cmath>
#include <iostream>
#include <memory>
#include <numbers>
#include <ostream>
#include <string>

#include "command/command.hpp"
#include "command/demo_bench.hpp"
#include "command/demo_findings.hpp"
#include "electric/calibration.hpp"
#include "judge/calibration_tone.hpp"
#include "judge/turning.hpp"
#include "report/demo.hpp"
#include "system/kept_files.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::command {

// The steps of the demo: each plays a tone, records, measures and decides.

namespace {

constexpr Decibels above_target{2.5};   // how far the ladder's top goes over the target
constexpr Decibels close_enough{0.06};  // as fine as a control can be turned
constexpr int most_turns = 8;

/// What the steps share.
struct Job {
  const Bench& bench;
  const DemoFolder& folder;
  std::ostream& notes;
  DemoTones tones;
  judge::Limits limits;
  report::DemoDocument document;
  DemoRecord written;
  std::vector<VerifiedControl> verified;  // a control each
};

void note(const Job& job, const std::string& text) {
  job.notes << text << '\n';
}

/// Where the recording input flattened the tops, nothing is learned about what was recorded.
void require_no_overload(const Recorded& recorded, const std::filesystem::path& path) {
  for (const auto& analysis : recorded.analyses) {
    if (analysis.findings.verdict != judge::Verdict::input_overload) continue;
    throw Error("the recording input is overloaded", path.string(),
                "use a tap with a larger attenuation, or an input that takes more");
  }
}

/// Records, measures, and leaves recording and document in the folder.
Recorded record(const Job& job, const std::string& name, const std::filesystem::path& track,
                Probe probe, VolumePlan volume) {
  write_capture(job.folder, name, job.bench.record(track, probe, volume));
  Recorded recorded = analyze_capture(job.folder, name, job.limits);
  require_no_overload(recorded, job.folder.capture(name));
  return recorded;
}

VolumePlan at(int volume) {
  return {volume, volume, Seconds(0.0)};
}

// --- Calibration ---------------------------------------------------------------------------------

struct CleanCapture {
  int volume;
  judge::CalibrationCapture tone;
};

/// As loud as is clean, from four fifths of the volume downwards: the louder, the better a meter
/// reads.
CleanCapture clean_capture(const Job& job, const std::filesystem::path& track) {
  int volume = std::max(1, job.bench.volume_steps * 4 / 5);
  while (true) {
    const Recorded recorded = record(job, "calibration", track, {}, at(volume));
    const auto& analysis = recorded.analyses.front();
    if (analysis.findings.verdict == judge::Verdict::clean || volume <= 1) {
      return {volume, judge::calibration_capture(recorded.measurements.front(), analysis,
                                                 recorded.format.rate,
                                                 job.folder.capture("calibration").string())};
    }
    volume = std::max(1, volume - std::max(1, job.bench.volume_steps / 20));
  }
}

/// The same as `railtap calibrate` says of it.
report::CalibrationDocument calibration_document(const Job& job, const CleanCapture& capture) {
  const report::DemoCalibration& calibration = job.document.calibration;
  return {capture.tone,
          calibration.reading,
          calibration.found.volts_per_full_scale / std::numbers::sqrt2,
          job.bench.meter,
          calibration.found,
          calibration.nominal,
          {},
          {}};
}

void write_calibration(Job& job, const CleanCapture& capture) {
  const report::DemoCalibration& calibration = job.document.calibration;
  system::CalibrationRecord record;
  record.volts_per_full_scale = calibration.found.volts_per_full_scale;
  record.uncertainty = calibration.found.uncertainty;
  record.origin.recording = "calibration.wav";
  record.origin.device = "virtual rig, " + job.bench.system;
  record.origin.channel = capture.tone.channel;
  record.origin.tone = capture.tone.frequency;
  record.origin.level = capture.tone.level;
  record.origin.reading = calibration.reading;
  record.origin.meter = electric::describe(job.bench.meter);
  record.origin.nominal = job.bench.nominal_full_scale;
  system::write_calibration(job.folder.root / "calibration.toml", record, job.folder.overwrite);
  job.written.add_calibration(calibration_document(job, capture), record);
}

void calibrate(Job& job) {
  const auto& track = job.tones.calibration;
  const CleanCapture capture = clean_capture(job, track);
  report::DemoCalibration& calibration = job.document.calibration;
  calibration.tone = job.tones.calibration_tone;
  calibration.step = capture.volume;
  calibration.reading = job.bench.read_meter(track, {}, capture.volume);
  electric::CalibrationTone tone;
  tone.rms_fs = capture.tone.rms_fs;
  tone.form_factor = capture.tone.form_factor;
  tone.level_spread = capture.tone.level_spread;
  tone.frequency = job.tones.calibration_tone;
  tone.reading = calibration.reading;
  tone.meter = job.bench.meter;
  calibration.found = electric::calibrate(tone);
  calibration.nominal = electric::compare_with_nominal(
      calibration.found, job.bench.nominal_full_scale, electric::usual_deviation);
  job.limits.volts_per_full_scale = calibration.found.volts_per_full_scale;
  write_calibration(job, capture);
  note(job, "calibrated: full scale is " +
                format_quantity(calibration.found.volts_per_full_scale, 4, Zeros::keep) + " peak");
}

// --- The head unit's limit -----------------------------------------------------------------------

/// The volume turned up step by step while a full-scale tone plays.
void find_head_unit_limit(Job& job) {
  const std::string name = "head-unit-volume";
  const VolumesTried tried{first_volume(job.bench), job.bench.volume_steps, job.bench.before,
                           volume_dwell};
  (void)record(job, name, job.tones.volume, {}, {tried.first, tried.last, volume_dwell});
  report::DemoHeadUnit& unit = job.document.head_unit;
  const auto channels = judge_rising_level(job.folder, name, job.limits);
  unit = head_unit_limit(channels, tried, job.folder.capture(name).string());
  // The tap is at the front outputs.
  const std::vector<std::string> outputs =
      channels.size() == 1
          ? std::vector<std::string>{"head unit"}
          : std::vector<std::string>{"head unit, front left", "head unit, front right"};
  for (std::size_t c = 0; c < channels.size(); ++c) {
    job.written.add_onset(name, c, job.limits,
                          {outputs[c], "source", "",
                           "Highest clean volume: " + std::to_string(unit.highest_clean_step)});
  }
  note(job, "head unit: clean up to volume " + std::to_string(unit.highest_clean_step));
}

// --- Gains ---------------------------------------------------------------------------------------

/// RMS that a tone would have without the rails, over the channels of a capture: their mean in
/// decibels.
Volts unclipped_level(const Job& job, const Recorded& recorded) {
  double sum_db = 0.0;
  double count = 0.0;
  for (std::size_t c = 0; c < recorded.analyses.size(); ++c) {
    const measure::Segment* longest = nullptr;
    for (const auto& segment : recorded.measurements[c].segments) {
      if (!segment.measurement.tone) continue;
      if (longest == nullptr ||
          segment.measurement.fundamental > longest->measurement.fundamental) {
        longest = &segment;
      }
    }
    if (longest == nullptr) continue;
    const bool flat =
        longest->clip && (longest->clip->positive.flat || longest->clip->negative.flat);
    const double peak =
        flat ? longest->clip->amplitude_fs : std::sqrt(2.0 * longest->measurement.fundamental);
    sum_db += decibels_from_amplitude_ratio(peak).value();
    count += 1.0;
  }
  if (count == 0.0)
    throw Error("no tone arrives at the amplifier's terminals", "", "check the wiring");
  return *job.limits.volts_per_full_scale *
         (amplitude_ratio(Decibels(sum_db / count)) / std::numbers::sqrt2);
}

/// Whether the last turn upwards changed nothing: a limiter, or an input with automatic gain.
bool is_held(const std::vector<judge::Turn>& turns) {
  if (turns.size() < 2) return false;
  const judge::Turn& last = turns.back();
  const judge::Turn& before = turns[turns.size() - 2];
  constexpr double clear_turn = 0.01;
  return last.travel - before.travel >= clear_turn &&
         (before.missing - last.missing).value() < close_enough.value();
}

/// Turns a control until a full-scale tone has this level, or would have without the rails.
/// \returns false where something held the level
bool turn_to(const Job& job, std::size_t control, const std::filesystem::path& track, Volts aim,
             const std::string& purpose) {
  const ControlPlate& plate = job.bench.controls[control];
  std::vector<judge::Turn> turns;
  for (int n = 1; n <= most_turns; ++n) {
    const std::string name = plate.name + "-" + purpose + "-" + std::to_string(n);
    const Recorded recorded =
        record(job, name, track, {control}, at(job.document.head_unit.highest_clean_step));
    const Decibels missing = decibels_from_amplitude_ratio(aim / unclipped_level(job, recorded));
    turns.push_back({job.bench.travel(control), missing});
    if (std::abs(missing.value()) <= close_enough.value()) return true;
    if (is_held(turns)) {
      job.bench.turn(control, turns[turns.size() - 2].travel);
      note(job,
           plate.name + ": turning it up changes nothing, something holds the level; turned back");
      return false;
    }
    const double before = turns.back().travel;
    job.bench.turn(control, judge::next_travel(turns));
    note(job, plate.name + ": " + format_fixed(missing, 2, Sign::always) + " to " +
                  format_quantity(aim, 4, Zeros::keep) + ", gain turned to " +
                  format_fixed(Percent(100.0 * job.bench.travel(control)), 1));
    if (job.bench.travel(control) == before) return true;
  }
  return true;
}

/// Where this control's channels begin to clip, seen by a ladder whose top goes over the target.
std::optional<Volts> find_onset(const Job& job, std::size_t control) {
  const std::string name = job.bench.controls[control].name + "-ladder";
  (void)record(job, name, job.tones.controls[control].ladder, {control},
               at(job.document.head_unit.highest_clean_step));
  return lowest_flat_top(judge_rising_level(job.folder, name, job.limits));
}

/// What is left at a control's terminals while nothing plays.
Recorded record_silence(const Job& job, std::size_t control) {
  return record(job, job.bench.controls[control].name + "-silence", job.tones.silence, {control},
                at(job.document.head_unit.highest_clean_step));
}

std::optional<Volts> meter_reading(const Job& job, std::size_t control,
                                   const std::filesystem::path& track) {
  const auto& meter = job.bench.meter;
  const Hertz tone = job.bench.controls[control].setup_tone;
  if (meter.highest_frequency && tone > *meter.highest_frequency) return {};
  if (meter.lowest_frequency && tone < *meter.lowest_frequency) return {};
  return job.bench.read_meter(track, {control}, job.document.head_unit.highest_clean_step);
}

/// All that is known of a channel: its ratings, the supply, what the head unit gives, and where it
/// was seen to clip.
electric::Channel channel_of(const Job& job, const ControlPlate& plate,
                             std::optional<Volts> onset) {
  electric::Channel channel;
  channel.name = plate.name;
  channel.amplifier_power = plate.amplifier_power;
  channel.load = plate.load;
  channel.speaker_power = plate.speaker_power;
  const Volts rated = electric::rated_volts(plate.amplifier_power, plate.load);
  if (!plate.regulated) {
    const auto bound = electric::supply_bound(rated, job.bench.supply);
    if (bound) channel.bounds.push_back(*bound);
  }
  const Volts input = job.document.head_unit.clean_level * sine_peak(demo_level);
  channel.bounds.push_back(electric::source_bound(rated, input, plate.sensitivity));
  if (onset) channel.bounds.push_back(electric::clipping_bound(*onset));
  return channel;
}

void finish_channel(report::DemoChannel& channel, const electric::Channel& described,
                    const electric::Target& aim) {
  if (!channel.reached.level_v) {
    throw Error("no tone arrives at " + channel.input, "", "check the wiring");
  }
  channel.reached_v = *channel.reached.level_v;
  electric::Channel read = described;
  read.reading = channel.reached_v;
  const electric::Assessment assessment = electric::assess(aim, read, {});
  channel.change = assessment.change;
  channel.direction = assessment.direction;
  // Well below the amplifier's own onset, flat tops must have come in through its input.
  constexpr Decibels clearly_below{0.3};
  channel.clipped_before_amplifier =
      channel.reached.verdict == judge::Verdict::clipped && channel.onset &&
      channel.reached_v * amplitude_ratio(clearly_below) < *channel.onset;
}

/// What was measured of one channel, as the commands would have written it down.
void write_down(const Job& job, std::size_t control, std::size_t index, const Recorded& found,
                const Recorded& reached, const Recorded& silent,
                const electric::Channel& described) {
  const ControlPlate& plate = job.bench.controls[control];
  const report::DemoChannel& channel = job.document.channels.back();
  const std::string& input = plate.inputs[index];
  const std::string gain =
      "Gain of " + plate.name + " at " + format_quantity(Percent(100.0 * channel.travel), 3);
  const VerifiedControl& verified = job.verified[control];
  job.written.add_verification(verified.found, index, {input, "amplifier", "before", ""});
  if (verified.corrected)
    job.written.add_verification(*verified.corrected, index, {input, "amplifier", "after", ""});
  job.written.add_analysis(plate.name + "-found", found, index, job.limits,
                           {input, "amplifier", "before", ""});
  job.written.add_onset(plate.name + "-ladder", index, job.limits, {input, "amplifier", "", ""});
  job.written.add_analysis(plate.name + "-set", reached, index, job.limits,
                           {input, "amplifier", "after", gain});
  job.written.add_analysis(plate.name + "-silence", silent, index, job.limits,
                           {input, "amplifier", "after", ""});
  electric::Channel read = described;
  read.name = input;
  read.reading = channel.reached_v;
  const electric::ChannelTarget target = electric::resolve(read, {});
  job.written.add_target(target, {}, {input, "amplifier", "", ""});
}

/// What is still wrong with a channel's wiring and filters once everything was put right.
void take_verification(report::DemoChannel& channel, const VerifiedControl& verified,
                       std::size_t index) {
  const auto& document = verified.corrected ? *verified.corrected : verified.found;
  const judge::ChannelVerification& last = document.verification.channels[index];
  channel.wiring = last.verdict() == judge::ChannelVerdict::wiring;
  for (const judge::Finding& f : last.findings) {
    if (f.severity == judge::Severity::fault) channel.faults.push_back(f.text);
  }
}

void set_gain(Job& job, std::size_t control) {
  const ControlPlate& plate = job.bench.controls[control];
  const int volume = job.document.head_unit.highest_clean_step;
  const auto& [track, final_track, ladder] = job.tones.controls[control];
  const Recorded found = record(job, plate.name + "-found", track, {control}, at(volume));
  const electric::Target rated = electric::rated_target(channel_of(job, plate, {}));
  note(job, plate.name + ": found " + judge::name(found.analyses.front().findings.verdict) +
                "; now over the target, to see where it clips");
  (void)turn_to(job, control, track, rated.volts * amplitude_ratio(above_target), "over");
  const std::optional<Volts> onset = find_onset(job, control);
  note(job,
       plate.name + ": " +
           (onset ? "clips at " + format_quantity(*onset, 4, Zeros::keep) : "does not clip there") +
           "; now to its target");
  const electric::Channel described = channel_of(job, plate, onset);
  const electric::Target aim = electric::target_for(described);
  const bool free = turn_to(job, control, track, aim.volts, "turn");
  const Recorded reached = record(job, plate.name + "-set", final_track, {control}, at(volume));
  const Recorded silent = record_silence(job, control);
  const auto meter = meter_reading(job, control, final_track);
  for (std::size_t c = 0; c < plate.inputs.size(); ++c) {
    report::DemoChannel channel;
    channel.control = plate.name;
    channel.input = plate.inputs[c];
    channel.tone = plate.setup_tone;
    channel.found = found.analyses[c].findings;
    channel.onset = onset;
    channel.target = aim.volts;
    channel.wanted = rated.volts;
    channel.limited_by = aim.limited_by;
    channel.reached = reached.analyses[c].findings;
    channel.travel = job.bench.travel(control);
    channel.held = !free;
    if (c == 0) channel.meter = meter;
    channel.hiss_a = silent.analyses[c].findings.noise_a_v;
    take_verification(channel, job.verified[control], c);
    finish_channel(channel, described, aim);
    job.document.channels.push_back(channel);
    write_down(job, control, c, found, reached, silent, described);
  }
}

bool is_wired_right(const report::DemoVerification& verification) {
  return verification.left.empty();
}

/// A head unit that cannot drive the amplifier to its rating is a fault, as it is in the plan.
bool as_wanted(const report::DemoChannel& channel) {
  const Decibels short_of = decibels_from_amplitude_ratio(channel.wanted / channel.target);
  const bool too_weak =
      channel.limited_by == electric::Limit::head_unit && short_of > electric::default_tolerance;
  return channel.reached.verdict == judge::Verdict::clean &&
         channel.direction == electric::Direction::hold && !too_weak;
}

}  // namespace

report::DemoDocument run_demo(const Bench& bench, const DemoFolder& folder, std::ostream& notes) {
  Job job{bench, folder, notes, write_tones(bench, folder), {}, {}, {bench, folder}, {}};
  job.document.folder = folder.root.string();
  job.document.system = bench.system;
  job.document.supply = bench.supply;
  job.document.tone_level = demo_level;
  job.document.tolerance = electric::default_tolerance;
  calibrate(job);
  find_head_unit_limit(job);
  job.verified =
      verify_controls(bench, folder, job.tones.verify, job.document.head_unit.highest_clean_step,
                      *job.limits.volts_per_full_scale, notes);
  for (const VerifiedControl& verified : job.verified)
    job.document.verifications.push_back(verified.outcome);
  for (std::size_t control = 0; control < bench.controls.size(); ++control) set_gain(job, control);
  job.document.within_limits =
      job.document.calibration.nominal.plausible &&
      std::all_of(job.document.verifications.begin(), job.document.verifications.end(),
                  is_wired_right) &&
      std::all_of(job.document.channels.begin(), job.document.channels.end(), as_wanted);
  job.written.add_outcome(job.document);
  job.written.write_sheet();
  return job.document;
}

// `railtap demo`: the whole job on the virtual rig, without hardware.

namespace {

struct DemoOptions {
  std::string folder = "railtap-demo";
  std::string rig;
  bool force = false;
  bool json = false;
};

constexpr std::size_t longest_description = 1U << 20U;

ExitStatus run(const DemoOptions& options, const std::string& program) {
  const std::string place = options.rig.empty() ? "camper_van.toml" : options.rig;
  const std::string text = options.rig.empty() ? std::string(rig::camper_van_text())
                                               : files::read_file(options.rig, longest_description);
  const Bench bench = make_bench(rig::parse_rig(text, place));
  const DemoFolder folder = open_demo_folder(
      options.folder, options.force ? files::Overwrite::allow : files::Overwrite::refuse);
  files::write_file(folder.root / "rig.toml", text, folder.overwrite);
  const report::DemoDocument document = run_demo(bench, folder, std::cerr);
  const std::string json = report::demo_json(document).line() + "\n";
  files::write_file(folder.result("setup"), json, folder.overwrite);
  std::cout << (options.json ? json : report::demo_text(document, program));
  return document.within_limits ? ExitStatus::within_limits : ExitStatus::outside_limits;
}

}  // namespace

Command demo_command(const std::string& program) {
  auto options = std::make_shared<DemoOptions>();
  Command command("demo", "Do the whole job once on a virtual rig, without hardware");
  command.text("DIR", options->folder, "Folder for tones, recordings and results")
      .defaulting_to(options->folder);
  command.text("--rig", options->rig, "Description of another rig (TOML, see docs/rig.md)")
      .called("FILE");
  command.flag("--force", options->force, "Overwrite what an earlier demo wrote there");
  command.flag("--json", options->json, "Print one JSON document (railtap.demo/1)");
  command.footer =
      "Example:\n"
      "  railtap demo my-first-demo\n"
      "Exit status: 0 every channel is clean and at its target, 1 one is not, 2 could not do it.";
  command.run = [options, program] { return run(*options, program); };
  return command;
}

}  // namespace railtap::command
