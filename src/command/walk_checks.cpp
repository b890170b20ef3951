// SPDX-License-Identifier: MIT
// The guided walk's judgement of each recording, of levels and of wiring: what goes into the
// record, or what to mend.
#include "command/walk_checks.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include "command/dialog.hpp"
#include "command/recorded.hpp"
#include "command/result_options.hpp"
#include "command/stepped.hpp"
#include "command/verify_capture.hpp"
#include "electric/calibration.hpp"
#include "judge/calibration_tone.hpp"
#include "report/analysis.hpp"
#include "report/calibration.hpp"
#include "report/onset.hpp"
#include "report/target.hpp"
#include "report/verification.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::command {

// The guided walk's judgement of each recording.

namespace {

using judge::Verdict;
using system::Json;
using system::RecordEntry;

// A recording with holes would be measured wrong around them.
void require_whole(const Provenance& provenance, const std::filesystem::path& file) {
  if (!provenance.sidecar || provenance.warnings.empty()) return;
  const auto& sidecar = *provenance.sidecar;
  if (sidecar.complete && sidecar.gaps.empty() && sidecar.driver_overflows == 0) return;
  throw Error(provenance.warnings.front(), file.string(), "record it again");
}

Recorded whole_recording(const std::filesystem::path& file, const judge::Limits& limits) {
  Recorded recorded = measure_recording(file, limits);
  require_whole(recorded.provenance, file);
  return recorded;
}

judge::Limits limits_with(std::optional<Volts> volts_per_full_scale) {
  judge::Limits limits;
  limits.volts_per_full_scale = volts_per_full_scale;
  return limits;
}

RecordEntry entry_of(const std::string& kind, Json document, const std::string& stage,
                     const std::string& subject) {
  RecordEntry entry;
  entry.kind = kind;
  entry.stage = stage;
  entry.subject = subject;
  entry.result = std::move(document);
  return entry;
}

RecordEntry analysis_entry(const std::filesystem::path& file, const Recorded& recorded,
                           const judge::Limits& limits, const WalkChannel& channel) {
  report::AnalysisDocument document;
  document.file_name = file.filename().string();
  document.format = recorded.format;
  document.frames = recorded.frames;
  document.limits = limits;
  document.channels = recorded.analyses;
  document.names = channel.outputs;
  document.warnings = recorded.provenance.warnings;
  document.curves = curves_of_recording(file, recorded, limits);
  RecordEntry entry =
      entry_of("analysis", report::analysis_json(document), "amplifier", channel.plate.name);
  entry.moment = "after";
  entry.calibration = calibration_summary(limits.volts_per_full_scale);
  return entry;
}

std::string first_reason(const judge::Findings& findings) {
  if (findings.cause) return findings.cause->sentence;
  return findings.reasons.empty() ? judge::name(findings.verdict) : findings.reasons.front();
}

// What to do about a tone that will not do, while a gain is set.
const char* remedy_for(Verdict verdict) {
  switch (verdict) {
    case Verdict::clipped:
    case Verdict::distorted:
      return "turn the gain down, switch boosts and tone controls off, and record it again";
    case Verdict::input_overload:
      return "lower the recording input's level or use a larger attenuation; then calibrate anew";
    case Verdict::no_signal:
      return "check that the tone plays, the tap's leads, and which input records";
    default:
      return "play the steady tone and nothing else, and record it again";
  }
}

// Far from what the tap's parts give, either a part or the reading is wrong.
std::string doubt_of(const electric::NominalComparison& nominal) {
  if (nominal.plausible) return "";
  return "By the tap's parts, digital full scale is " +
         format_quantity(nominal.nominal, 4, Zeros::keep) + " peak; this is " +
         format_fixed(nominal.deviation, 1, Sign::always) +
         " from it. Look for a wrong resistor, a mistyped digit, a volume that was turned after "
         "the reading, or another setting of the input.";
}

// ", by the tap's parts 47.00 V (+0.09 dB)".
std::string beside(const electric::NominalComparison& nominal) {
  return ", by the tap's parts " + format_quantity(nominal.nominal, 4, Zeros::keep) + " (" +
         format_fixed(nominal.deviation, 2, Sign::always) + ")";
}

// A reading that is hardly more than the meter's own error.
std::string doubt_of(const electric::Calibration& found) {
  constexpr Percent most{5.0};  // 0.4 dB; gains are set to a quarter of a decibel
  if (!found.uncertainty || *found.uncertainty <= most) return "";
  return "With the meter's error this reading is accurate to " +
         format_quantity(*found.uncertainty, 2) +
         " only, and so are all later voltages. Turn the volume up, so that the meter reads more.";
}

// --- Gains ---------------------------------------------------------------------------------------

// The ratings, with what the description leaves below them.
electric::Channel bounded(const WalkChannel& channel) {
  electric::Channel result = channel.plate;
  if (!channel.bound) return result;
  const auto by = electric::limit_named(channel.bound->by);
  result.bounds.push_back({by.value_or(electric::Limit::speaker), channel.bound->volts});
  return result;
}

void require_right_tone(const judge::Findings& findings, Hertz wanted, const std::string& place) {
  constexpr double close = 0.02;
  if (std::abs(*findings.frequency / wanted - 1.0) <= close) return;
  throw Error("it holds a tone of " + format_quantity(*findings.frequency, 4) + ", not of " +
                  format_quantity(wanted, 4),
              place, "give the recording that belongs to this step, or play the right track");
}

// What a recorded channel of an amplifier is called, and what it is to be.
struct Wanted {
  std::string name;
  Hertz tone;
  Volts target;
  Decibels tolerance;
};

Decibels require_on_target(const judge::ChannelAnalysis& channel, const Wanted& wanted,
                           const std::string& place) {
  const auto& [name, tone, target, tolerance] = wanted;
  const Decibels change = decibels_from_amplitude_ratio(target / *channel.findings.level_v);
  if (std::abs(change.value()) <= tolerance.value()) return change;
  throw Error(name + " reads " + format_quantity(*channel.findings.level_v, 4, Zeros::keep) +
                  ", the target is " + format_quantity(target, 4, Zeros::keep),
              place,
              std::string("turn the gain ") + (change.value() > 0.0 ? "up" : "down") + " by " +
                  format_fixed(Decibels(std::abs(change.value())), 2) + " and record it again");
}

// A sentence of the analysis as a part of another one.
std::string within_sentence(std::string text) {
  if (text.ends_with('.')) text.pop_back();
  const bool word = text.size() > 1 && std::islower(static_cast<unsigned char>(text[1])) != 0;
  if (word) text[0] = static_cast<char>(std::tolower(static_cast<unsigned char>(text[0])));
  return text;
}

// " is clipped: …"; a cause names itself.
std::string wrong_with(const judge::Findings& findings) {
  const std::string reason = within_sentence(first_reason(findings));
  return findings.cause ? ": " + reason
                        : " is " + (judge::name(findings.verdict) + (": " + reason));
}

std::string check_tone(const judge::ChannelAnalysis& channel, const Wanted& wanted,
                       const std::string& place) {
  const judge::Findings& findings = channel.findings;
  if (findings.frequency) require_right_tone(findings, wanted.tone, place);
  if (findings.verdict != Verdict::clean || !findings.level_v || !findings.frequency) {
    throw Error(
        wanted.name + wrong_with(findings), place,
        findings.cause ? within_sentence(findings.cause->remedy) : remedy_for(findings.verdict));
  }
  const Decibels change = require_on_target(channel, wanted, place);
  return " " + wanted.name + ": " + format_quantity(*findings.level_v, 4, Zeros::keep) + ", " +
         format_fixed(change, 2, Sign::always) + " to go, THD+N " +
         format_quantity(*findings.thdn, 2) + ".";
}

bool is_silent(const judge::ChannelAnalysis& channel) {
  return channel.findings.verdict == Verdict::no_signal;
}

// Behind the loudest stretch of it nothing is to follow that is so much softer.
void require_tone_to_the_end(const Recorded& recorded, const judge::ChannelAnalysis& channel,
                             const std::string& name, const std::string& place) {
  constexpr Seconds rest{0.5};   // a tone may end a little before the recording
  constexpr double gone = 1e-4;  // of its power: 40 dB
  const auto& measured = recorded.measurements[static_cast<std::size_t>(channel.channel - 1)];
  const measure::Segment* loudest = nullptr;
  for (const measure::Segment& segment : measured.segments) {
    const bool louder = loudest == nullptr ||
                        segment.measurement.fundamental >= loudest->measurement.fundamental * gone;
    if (!louder) continue;
    const bool first = loudest == nullptr ||
                       segment.measurement.fundamental > loudest->measurement.fundamental / gone;
    loudest = first || segment.end_frame > loudest->end_frame ? &segment : loudest;
  }
  if (loudest == nullptr) return;
  const double rate = recorded.format.rate.value();
  const Seconds end(static_cast<double>(loudest->end_frame) / rate);
  if (Seconds(static_cast<double>(recorded.frames) / rate) - end <= rest) return;
  throw Error(name + " went silent after " + format_quantity(end, 3) +
                  " and stayed so to the end of the recording",
              place,
              "the tone ended, or the amplifier protects itself: switch it off and on, and record "
              "again while the tone plays");
}

// --- The source ----------------------------------------------------------------------------------

// The steps of a recording, judged, and how long it is.
struct TurnedRecording {
  report::OnsetDocument document;
  Seconds length{0.0};
};

TurnedRecording onset_of(const std::filesystem::path& file,
                         std::optional<Volts> volts_per_full_scale) {
  report::OnsetDocument document;
  document.limits.analysis.volts_per_full_scale = volts_per_full_scale;
  const Stepped stepped = measure_steps(file, document.limits.analysis, std::nullopt);
  require_whole(stepped.provenance, file);
  document.file_name = file.filename().string();
  document.format = stepped.format;
  document.warnings = stepped.provenance.warnings;
  for (const SteppedChannel& channel : stepped.channels) document.found.push_back(channel.found);
  document.channels = judge_stepped(stepped, document.limits);
  return {std::move(document),
          Seconds(static_cast<double>(stepped.frames) / stepped.format.rate.value())};
}

// The output muted itself, or the tone ended: fewer steps than were told, and nothing after them.
std::optional<int> silent_after(const judge::ChannelOnset& channel, const VolumeRun& run,
                                Seconds length) {
  constexpr Seconds clearly{1.0};  // a step's rest
  // Behind the last step the tone may end.
  const int last_heard =
      channel.went_silent ? run.first + channel.went_silent->after_step - 1 : run.last;
  if (last_heard < run.last) return last_heard;
  const int told = run.last - run.first + 1;
  const int found = static_cast<int>(channel.steps.size());
  if (channel.steps.empty() || found >= told) return std::nullopt;
  if (length - channel.steps.back().end <= clearly) return std::nullopt;
  return run.first + found - 1;
}

// One channel of the head unit while the volume was turned up.
struct TurnedUp {
  const judge::ChannelOnset& channel;
  std::string name;
  VolumeRun run;
  Seconds length;  // of the recording
};

void require_sound_to_the_end(const TurnedUp& turned, const std::string& place) {
  const auto last = silent_after(turned.channel, turned.run, turned.length);
  if (!last) return;
  throw Error(turned.name + " went silent after volume " + std::to_string(*last) +
                  " and stayed so to the end of the recording",
              place,
              "the tone ended, or the head unit protects itself: switch it off and on, and record "
              "again, to that volume at most");
}

void require_every_step(const TurnedUp& turned, const std::string& place) {
  const VolumeRun& run = turned.run;
  const int told = run.last - run.first + 1;
  const auto found = turned.channel.steps.size();
  if (static_cast<int>(found) == told) return;
  const std::string why =
      static_cast<int>(found) > told
          ? "switch off what changes the level by itself, such as the recorder's automatic level "
            "control, "
          : "begin at volume " + std::to_string(run.first) + ", stay a second on every step, ";
  throw Error("there are " + std::to_string(found) + " steady steps in it, not " +
                  std::to_string(told) + " from volume " + std::to_string(run.first) + " to " +
                  std::to_string(run.last),
              place, why + "and record it again; or b to give other volumes");
}

// The highest clean volume of one channel; none where it holds no steps.
std::optional<int> clean_volume(const TurnedUp& turned, const std::string& place) {
  using judge::OnsetVerdict;
  const judge::ChannelOnset& channel = turned.channel;
  if (channel.verdict == OnsetVerdict::no_ladder) return std::nullopt;
  if (channel.verdict == OnsetVerdict::input_overload) {
    const auto& at = channel.input_onset;
    const std::string where =
        at && at->at.level_v ? ", at " + format_quantity(*at->at.level_v, 3) : "";
    throw Error("the recording input overloads before " + turned.name + " does" + where, place,
                "lower the input's level or use a larger attenuation; then calibrate anew");
  }
  require_sound_to_the_end(turned, place);
  require_every_step(turned, place);
  if (!channel.highest_clean_step) {
    throw Error("not even the lowest step of " + turned.name + " is clean", place,
                "begin at a lower volume, with tone controls and loudness off");
  }
  return turned.run.first + *channel.highest_clean_step - 1;
}

// A recording without steps: of too little level, or of a tone that something disturbs.
[[noreturn]] void refuse_no_steps(const std::filesystem::path& file) {
  std::string cause;
  for (const auto& analysis : whole_recording(file, {}).analyses) {
    if (analysis.findings.cause && cause.empty()) cause = ": " + analysis.findings.cause->sentence;
  }
  throw Error(
      "no steps of rising level with a steady tone were found" + cause, file.string(),
      "play the 1 kHz tone at 0 dBFS, turn the volume up step by step, and stay a second on each");
}

// The limit as the setup sheet looks for it: the volume, of how many, and the volts there.
Json head_unit_json(const report::OnsetDocument& document, const VolumeRun& run, int volume,
                    const WalkFacts& facts) {
  std::optional<Volts> lowest;
  for (const auto& channel : document.channels) {
    const auto index = static_cast<std::size_t>(volume - run.first);
    if (channel.verdict == judge::OnsetVerdict::no_ladder || index >= channel.steps.size())
      continue;
    const auto& level = channel.steps[index].level_v;
    if (level && (!lowest || *level < *lowest)) lowest = level;
  }
  Json json = {{"highest_clean_step", volume}, {"volume_steps", nullptr}, {"level_v", nullptr}};
  if (facts.volume_steps) json.set("volume_steps", *facts.volume_steps);
  json.set("level_v", system::json_number(lowest));
  return json;
}

}  // namespace

std::string names_of(const WalkChannel& channel) {
  std::string names;
  if (channel.outputs.size() == 1 && channel.outputs.front() == channel.plate.name)
    return short_name(channel.plate.name);
  for (const std::string& output : channel.outputs)
    names += (names.empty() ? " (" : ", ") + short_name(output);
  return short_name(channel.plate.name) + names + (names.empty() ? "" : ")");
}

std::string channel_name(const std::vector<std::string>& outputs, int channel) {
  const auto index = static_cast<std::size_t>(channel - 1);
  return index < outputs.size() ? short_name(outputs[index]) : "channel " + std::to_string(channel);
}

std::string source_names(const WalkFacts& facts) {
  const auto& names = facts.source_outputs;
  if (names.empty()) return "";
  if (names.size() == 1) return " " + short_name(names[0]);
  return "s " + short_name(names[0]) + " and " + short_name(names[1]);
}

std::string not_recorded(const WalkChannel& channel, std::size_t recorded) {
  std::string names;
  for (std::size_t i = recorded; i < channel.outputs.size(); ++i)
    names += (names.empty() ? "" : ", ") + short_name(channel.outputs[i]);
  return names.empty() ? "" : " Not in this recording: " + names + ".";
}

electric::Target target_of(const WalkChannel& channel) {
  return electric::target_for(bounded(channel));
}

Accepted check_calibration(const std::filesystem::path& file, const std::string& reading,
                           const WalkFacts& facts) {
  const Recorded recorded = whole_recording(file, {});
  const int channel = judge::loudest_channel(recorded.analyses);
  const auto index = static_cast<std::size_t>(channel - 1);
  const auto tone = judge::calibration_capture(
      recorded.measurements[index], recorded.analyses[index], recorded.format.rate, file.string());
  electric::CalibrationTone read;
  read.rms_fs = tone.rms_fs;
  read.form_factor = tone.form_factor;
  read.level_spread = tone.level_spread;
  read.frequency = tone.frequency;
  read.reading = require_positive(parse_quantity<Volts>(reading, "the reading"), "the reading");
  read.typed_digit = electric::last_digit(reading, "the reading");
  if (facts.meter && !facts.meter->empty())
    read.meter = electric::parse_meter(*facts.meter, "the meter");
  report::CalibrationDocument document{
      tone, read.reading, {}, read.meter, electric::calibrate(read), {}, {}, {}};
  if (facts.tap_full_scale) {
    document.nominal = electric::compare_with_nominal(
        document.found, *facts.tap_full_scale * std::numbers::sqrt2, electric::usual_deviation);
  }
  std::string doubt = document.nominal ? doubt_of(*document.nominal) : "";
  if (doubt.empty()) doubt = doubt_of(document.found);
  const Volts full_scale = document.found.volts_per_full_scale;
  document.full_scale_rms = full_scale / std::numbers::sqrt2;
  document.warnings = recorded.provenance.warnings;
  return {{entry_of("calibration", report::calibration_json(document), "source", "")},
          "Digital full scale is " + format_quantity(full_scale, 4, Zeros::keep) + " peak" +
              (document.nominal ? beside(*document.nominal) : "") + ".",
          {{"volts_per_full_scale", full_scale.value()}},
          std::move(doubt)};
}

Accepted check_source(const std::filesystem::path& file, const VolumeRun& run,
                      const WalkFacts& facts, std::optional<Volts> volts_per_full_scale) {
  auto [document, length] = onset_of(file, volts_per_full_scale);
  document.names = facts.source_outputs;
  std::optional<int> volume;
  for (const auto& channel : document.channels) {
    const auto clean = clean_volume(
        {channel, channel_name(facts.source_outputs, channel.channel), run, length}, file.string());
    if (clean) volume = std::min(volume.value_or(*clean), *clean);
  }
  if (!volume) refuse_no_steps(file);
  RecordEntry entry = entry_of("onset", report::onset_json(document), "source", "head unit");
  entry.calibration = calibration_summary(volts_per_full_scale);
  entry.note = "highest clean volume " + std::to_string(*volume);
  const bool throughout = *volume == run.last;
  return {{entry},
          (throughout ? "It stays clean up to volume " : "The highest clean volume is ") +
              std::to_string(*volume) + ". Mark it on the head unit.",
          {{"volume", *volume}, {"head_unit", head_unit_json(document, run, *volume, facts)}},
          {}};
}

Accepted check_gain(const std::filesystem::path& file, const WalkChannel& channel,
                    Decibels tolerance, Volts volts_per_full_scale) {
  const judge::Limits limits = limits_with(volts_per_full_scale);
  const Recorded recorded = whole_recording(file, limits);
  electric::Conditions conditions;
  conditions.tolerance = tolerance;
  const electric::ChannelTarget target = electric::resolve(bounded(channel), conditions);
  std::string words;
  for (const auto& analysis : recorded.analyses) {
    // Of a recording with two channels one may have been left open.
    if (is_silent(analysis)) continue;
    const std::string name = channel_name(channel.outputs, analysis.channel);
    require_tone_to_the_end(recorded, analysis, name, file.string());
    words +=
        check_tone(analysis, {name, channel.tone, target.target.volts, tolerance}, file.string());
  }
  if (words.empty())
    throw Error("no channel of it holds a tone", file.string(), remedy_for(Verdict::no_signal));
  const RecordEntry wanted = entry_of("target", report::target_json({&target, 1}, conditions),
                                      "amplifier", channel.plate.name);
  return {{wanted, analysis_entry(file, recorded, limits, channel)},
          "On target." + words + not_recorded(channel, recorded.analyses.size()),
          {},
          {}};
}

Accepted check_silence(const std::filesystem::path& file, const WalkChannel& channel,
                       std::optional<Volts> volts_per_full_scale) {
  const judge::Limits limits = limits_with(volts_per_full_scale);
  const Recorded recorded = whole_recording(file, limits);
  std::string words = "Hiss:";
  for (const auto& analysis : recorded.analyses) {
    const std::string name = channel_name(channel.outputs, analysis.channel);
    if (!is_silent(analysis)) {
      throw Error(name + " is not silent: " + first_reason(analysis.findings), file.string(),
                  "play the silence track, or give the recording that belongs to this step");
    }
    const auto& hiss = analysis.findings.noise_a_v;
    words += (words.ends_with(':') ? " " : ", ") + name + " " +
             (hiss ? format_quantity(*hiss, 3) + " A-weighted" : "too low to be known");
  }
  RecordEntry entry = analysis_entry(file, recorded, limits, channel);
  entry.note = "silence";
  return {{entry}, words + ".", {}, {}};
}

// The guided walk's judgement of wiring and filters.

namespace {

using judge::Carries;
using judge::Severity;

Carries side_of(const std::string& carries) {
  for (const Carries side : {Carries::left, Carries::right, Carries::both}) {
    if (carries == judge::name(side)) return side;
  }
  return Carries::cannot_tell;
}

judge::VerificationLimits limits_for(const WalkChannel& channel, std::size_t recorded,
                                     std::optional<Volts> volts_per_full_scale) {
  judge::VerificationLimits limits;
  limits.volts_per_full_scale = volts_per_full_scale;
  limits.filters_allowed = channel.bass;
  const bool all_known =
      channel.carries.size() >= recorded &&
      std::none_of(channel.carries.begin(), channel.carries.end(),
                   [](const std::string& side) { return side_of(side) == Carries::cannot_tell; });
  if (!all_known) return limits;
  for (std::size_t i = 0; i < recorded; ++i) limits.expected.push_back(side_of(channel.carries[i]));
  return limits;
}

// "channel 2" in a sentence becomes the output's name.
std::string with_names(std::string text, const WalkChannel& channel) {
  for (std::size_t i = 0; i < channel.outputs.size(); ++i) {
    const int number = static_cast<int>(i) + 1;
    const std::string plain = "channel " + std::to_string(number);
    const std::string name = channel_name(channel.outputs, number);
    for (auto at = text.find(plain); at != std::string::npos;
         at = text.find(plain, at + name.size()))
      text.replace(at, plain.size(), name);
  }
  return text;
}

void add(std::vector<std::string>& to, std::string text) {
  if (std::find(to.begin(), to.end(), text) == to.end()) to.push_back(std::move(text));
}

bool is_swapped(const judge::Verification& verification) {
  const auto carries = [&](std::size_t channel, Carries what) {
    const auto& identity = verification.channels[channel].identity;
    return identity && identity->carries == what;
  };
  return verification.channels.size() > 1 && carries(0, Carries::right) &&
         carries(1, Carries::left);
}

// What is said with this severity: of the pair, then of each output.
std::vector<std::string> said(const judge::Verification& verification, const WalkChannel& channel,
                              Severity severity) {
  std::vector<std::string> texts;
  if (verification.pair) {
    for (const judge::Finding& finding : verification.pair->findings)
      if (finding.severity == severity) add(texts, with_names(finding.text, channel));
  }
  const bool swapped = is_swapped(verification);
  for (const auto& one : verification.channels) {
    for (const judge::Finding& finding : one.findings) {
      // That the pairs are swapped was said above.
      if (finding.severity != severity || (swapped && finding.text.starts_with("It carries")))
        continue;
      add(texts, channel_name(channel.outputs, one.channel) + ": " + finding.text);
    }
  }
  return texts;
}

std::string one_after_the_other(const std::vector<std::string>& texts) {
  constexpr std::size_t most = 3;  // what is mended first
  std::string all;
  for (std::size_t i = 0; i < std::min(most, texts.size()); ++i)
    all += (all.empty() ? "" : " ") + texts[i];
  if (all.ends_with('.')) all.pop_back();
  return all;
}

bool hears_nothing(const judge::Verification& verification) {
  return std::none_of(verification.channels.begin(), verification.channels.end(),
                      [](const auto& channel) { return channel.identity.has_value(); });
}

}  // namespace

Accepted check_wiring(const std::filesystem::path& file, const WalkChannel& channel,
                      std::optional<Volts> volts_per_full_scale) {
  VerifyCapture capture = measure_verification(file, 1);
  report::VerificationDocument document;
  document.limits = limits_for(channel, capture.channels.size(), volts_per_full_scale);
  document.files.push_back(std::move(capture.file));
  document.verification = judge::judge_verification(capture.channels, nullptr, document.limits);
  document.warnings = capture.provenance.warnings;
  if (hears_nothing(document.verification))
    throw Error("the verification track is not in it", file.string(),
                "play the track from its beginning while it records");
  const auto faults = said(document.verification, channel, Severity::fault);
  if (!faults.empty())
    throw Error(one_after_the_other(faults), "", "put it right and record it again");
  system::RecordEntry entry;
  entry.kind = "verification";
  entry.subject = channel.plate.name;
  entry.stage = "amplifier";
  entry.moment = "after";
  entry.calibration = calibration_summary(volts_per_full_scale);
  entry.result = report::verification_json(document);
  const auto open = said(document.verification, channel, Severity::caution);
  std::string words =
      "No fault in the wiring." + not_recorded(channel, document.verification.channels.size());
  if (!open.empty()) words += " Not decided: " + one_after_the_other(open) + ".";
  return {{entry}, words, system::Json::object(), {}};
}

}  // namespace railtap::command
