// SPDX-License-Identifier: MIT
// The outcome of setting a whole system, as a document and as a table.
#include "report/demo.hpp"

#include <algorithm>
#include <iomanip>
#include <sstream>
#include "judge/turning.hpp"

#include "judge/verification.hpp"
#include "report/target.hpp"
#include "report/words.hpp"
#include "system/json.hpp"
#include "units/print.hpp"

namespace railtap::report {
namespace {

using system::Json;
using system::json_number;

}  // namespace

// --- document ------------------------------------------------------------------------------------

namespace {

Json json_of(const DemoCalibration& calibration) {
  return {{"tone_hz", json_number(calibration.tone.value())},
          {"volume_step", calibration.step},
          {"reading_v", json_number(calibration.reading.value())},
          {"volts_per_full_scale", json_number(calibration.found.volts_per_full_scale.value())},
          {"uncertainty_percent", json_number(calibration.found.uncertainty)},
          {"nominal_volts_per_full_scale", json_number(calibration.nominal.nominal.value())},
          {"deviation_db", json_number(calibration.nominal.deviation.value())}};
}

Json json_of(const DemoHeadUnit& unit) {
  return {{"volume_steps", unit.steps},
          {"highest_clean_step", unit.highest_clean_step},
          {"level_v", json_number(unit.clean_level.value())},
          {"next_step_overdrive_db", json_number(unit.next_overdrive)},
          {"onset_v", json_number(unit.onset)}};
}

Json json_of(const DemoChannel& channel) {
  constexpr double percent = 100.0;
  return {{"control", channel.control},
          {"input", channel.input},
          {"tone_hz", json_number(channel.tone.value())},
          {"found_verdict", judge::name(channel.found.verdict)},
          {"found_v", json_number(channel.found.level_v)},
          {"onset_v", json_number(channel.onset)},
          {"target_v", json_number(channel.target.value())},
          {"limited_by", name(channel.limited_by)},
          {"reached_v", json_number(channel.reached_v.value())},
          {"change_db", json_number(channel.change.value())},
          {"direction", name(channel.direction)},
          {"verdict", verdict_of(channel)},
          {"tone_verdict", judge::name(channel.reached.verdict)},
          {"wiring", channel.wiring},
          {"faults", channel.faults},
          {"clipped_before_amplifier", channel.clipped_before_amplifier},
          {"held", channel.held},
          {"reasons", channel.reached.reasons},
          {"thdn_percent", json_number(channel.reached.thdn)},
          {"travel_percent", json_number(percent * channel.travel)},
          {"meter_v", json_number(channel.meter)},
          {"hiss_a_v", json_number(channel.hiss_a)}};
}

}  // namespace

std::string verdict_of(const DemoChannel& channel) {
  if (channel.reached.verdict != judge::Verdict::clean) return judge::name(channel.reached.verdict);
  if (channel.wiring) return judge::name(judge::ChannelVerdict::wiring);
  if (!channel.faults.empty()) return judge::name(judge::ChannelVerdict::look_again);
  return judge::name(judge::Verdict::clean);
}

std::string about(const std::string& control, const std::string& sentence) {
  return printable(sentence.starts_with(control + " ") ? sentence : control + ": " + sentence);
}

Json demo_json(const DemoDocument& document) {
  Json channels = Json::array();
  for (const DemoChannel& channel : document.channels) channels.push_back(json_of(channel));
  Json verifications = Json::array();
  for (const DemoVerification& v : document.verifications) {
    verifications.push_back({{"control", v.control},
                             {"found", v.found},
                             {"corrected", v.corrected},
                             {"left", v.left},
                             {"carries", v.carries}});
  }
  const Json json = {{"schema", "railtap.demo/1"},
                     {"folder", document.folder},
                     {"system", document.system},
                     {"supply_v", json_number(document.supply.value())},
                     {"tone_dbfs", json_number(document.tone_level.value())},
                     {"tolerance_db", json_number(document.tolerance.value())},
                     {"calibration", json_of(document.calibration)},
                     {"head_unit", json_of(document.head_unit)},
                     {"verifications", verifications},
                     {"channels", channels},
                     {"within_limits", document.within_limits}};
  return json;
}

// --- words ---------------------------------------------------------------------------------------

namespace {

std::string volts(Volts value) {
  return format_quantity(value, 4, Zeros::keep);
}

std::string overdrive_of(const judge::FlatTop& flat) {
  const auto most = judge::larger_overdrive(flat);
  return most ? " by " + format_fixed(*most, 1) : "";
}

std::string in_words(const judge::Findings& findings) {
  std::string text = judge::name(findings.verdict);
  if (findings.verdict == judge::Verdict::clipped) return text + overdrive_of(findings.flat_top);
  if (findings.level_v) text += ", " + format_quantity(*findings.level_v, 3, Zeros::keep);
  return text;
}

std::string set_by(DemoLimit limit) {
  return limit == DemoLimit::amplifier ? "rating" : report::in_words(limit);
}

void write_calibration(std::ostream& out, const DemoCalibration& calibration) {
  out << "Calibration  the meter reads " << format_fixed(calibration.reading, 2) << " on the "
      << format_quantity(calibration.tone) << " tone at volume " << calibration.step
      << ":\n             digital full scale is " << volts(calibration.found.volts_per_full_scale)
      << " peak";
  if (calibration.found.uncertainty) {
    out << ", ±" << format_fixed(*calibration.found.uncertainty, 1);
  }
  out << "; the resistors' marks say " << volts(calibration.nominal.nominal) << " ("
      << format_fixed(calibration.nominal.deviation, 2, Sign::always) << ")\n";
}

void write_head_unit(std::ostream& out, const DemoHeadUnit& unit) {
  out << "Head unit    volume " << unit.highest_clean_step << " of " << unit.steps
      << " is the highest clean step: " << volts(unit.clean_level) << '\n';
  if (unit.onset && unit.next_overdrive) {
    out << "             clipping begins at " << volts(*unit.onset) << "; one step up is "
        << format_fixed(*unit.next_overdrive, 2) << " over. Mark volume " << unit.highest_clean_step
        << ".\n";
  }
}

// One channel that carries both sides is what a bass amplifier should have.
std::string in_words(const std::vector<std::string>& carries) {
  if (carries.size() == 1 && carries.front() == "both") return "both sides, summed to mono; ";
  return "";
}

void write_wiring(std::ostream& out, const DemoDocument& document) {
  const char* label = "Wiring       ";
  for (const DemoVerification& v : document.verifications) {
    for (const std::string& text : v.found) {
      out << label << about(v.control, text) << '\n';
      label = "             ";
    }
    if (v.found.empty()) {
      out << label << printable(v.control) << ": " << in_words(v.carries) << "no fault found\n";
      label = "             ";
    }
    for (const std::string& text : v.corrected) out << "             -> " << text << '\n';
    if (!v.corrected.empty()) {
      out << "             -> verified again: "
          << (v.left.empty() ? "no fault found" : "faults remain") << '\n';
    }
  }
}

void write_row(std::ostream& out, const DemoChannel& channel) {
  constexpr double percent = 100.0;
  out << std::left << std::setw(16) << printable(channel.input) << std::setw(8)
      << format_quantity(channel.tone) << std::setw(19) << in_words(channel.found) << std::right
      << std::setw(10) << (channel.onset ? volts(*channel.onset) : "above") << std::setw(10)
      << volts(channel.target) << "  " << std::left << std::setw(9) << set_by(channel.limited_by)
      << std::right << std::setw(9) << volts(channel.reached_v) << std::setw(10)
      << (channel.reached.thdn ? format_quantity(*channel.reached.thdn, 2) : std::string("-"))
      << std::setw(10) << format_fixed(channel.change, 2, Sign::always) << std::setw(10)
      << format_fixed(Percent(percent * channel.travel), 1) << std::setw(10)
      << (channel.hiss_a ? format_quantity(*channel.hiss_a, 2) : std::string("-")) << "  "
      << verdict_of(channel) << '\n';
}

void write_table(std::ostream& out, const DemoDocument& document) {
  out << "Gains        set at volume " << document.head_unit.highest_clean_step << " with tones at "
      << format_quantity(document.tone_level) << ", supply " << format_quantity(document.supply)
      << ", speakers disconnected\n\n"
      << std::left << std::setw(16) << "channel" << std::setw(8) << "tone" << std::setw(19)
      << "found" << std::right << std::setw(10) << "clips at" << std::setw(10) << "target"
      << "  " << std::left << std::setw(9) << "set by" << std::right << std::setw(9) << "reached"
      << std::setw(10) << "THD+N" << std::setw(10) << "to go" << std::setw(10) << "gain at"
      << std::setw(10) << "hiss (A)"
      << "  verdict\n";
  for (const DemoChannel& channel : document.channels) write_row(out, channel);
}

/// A head unit that is too weak is told even where all that it can do is reached.
void write_shortfall(std::ostream& out, const DemoChannel& channel) {
  if (channel.limited_by != DemoLimit::head_unit) return;
  out << "  " << printable(channel.input) << ": the head unit's clean output is too low for "
      << volts(channel.wanted) << ", even with the gain fully up\n";
}

bool is_set(const DemoChannel& channel) {
  return channel.reached.verdict == judge::Verdict::clean &&
         channel.direction == electric::Direction::hold;
}

/// What is wrong with a channel's level or tone, where something is.
void write_reasons(std::ostream& out, const DemoChannel& channel) {
  if (is_set(channel)) return;
  out << "  " << printable(channel.input) << ": " << judge::name(channel.reached.verdict);
  if (channel.direction != electric::Direction::hold)
    out << ", " << format_fixed(channel.change, 2, Sign::always) << " to go";
  out << '\n';
  for (const std::string& reason : channel.reached.reasons) out << "    " << reason << '\n';
  if (channel.held) {
    out << "    Turning the gain up changes nothing: a limiter holds the level. Do not turn it "
           "further.\n";
  }
  if (channel.clipped_before_amplifier) {
    out << "    That is below where this amplifier clips, so it comes from before its gain "
           "control:\n"
           "    look for tone controls, loudness or bass boost that are on.\n";
  }
}

/// All that keeps the job from being done, apart from levels and tones, a sentence each.
std::vector<std::string> other_faults(const DemoDocument& document) {
  std::vector<std::string> faults;
  if (!document.calibration.nominal.plausible) {
    faults.push_back(
        "calibration: " + format_fixed(document.calibration.nominal.deviation, 2, Sign::always) +
        " against the resistors' marks is too much; look at the tap and the reading");
  }
  for (const DemoVerification& v : document.verifications) {
    for (const std::string& text : v.left) faults.push_back(about(v.control, text));
  }
  return faults;
}

void write_outcome(std::ostream& out, const DemoDocument& document) {
  const bool set = std::all_of(document.channels.begin(), document.channels.end(), is_set);
  const std::vector<std::string> faults = other_faults(document);
  out << (set ? "All" : "Not all") << " channels are clean and within "
      << format_quantity(document.tolerance) << " of their targets"
      << (faults.empty() ? "."
          : set          ? ", but the job is not done:"
                         : "; and besides:")
      << '\n';
  for (const std::string& text : faults) out << "  " << text << '\n';
  for (const DemoChannel& channel : document.channels) {
    write_shortfall(out, channel);
    write_reasons(out, channel);
  }
  out << '\n';
}

void write_cautions(std::ostream& out) {
  out << "With a real car: disconnect the speakers or use a dummy load that takes the power; "
         "never\n"
         "ground either side of a bridge-tied output; keep full-level tones short (voice coils,\n"
         "hearing); disconnect the battery before wiring, and before touching plugs under a seat\n"
         "with an airbag. Unloaded readings are a little high: a loaded amplifier clips earlier.\n";
}

// The recording of the first control's channels, as it was set, with what they are called, where
// that can be typed.
std::string example_of(const DemoDocument& document) {
  const std::string control =
      document.channels.empty() ? "front" : document.channels.front().control;
  std::string names;
  for (const DemoChannel& channel : document.channels) {
    if (channel.control == control) names += (names.empty() ? "" : ",") + channel.input;
  }
  const bool typeable = std::none_of(document.channels.begin(), document.channels.end(),
                                     [](const DemoChannel& channel) {
                                       return channel.input.find(',') != std::string::npos ||
                                              channel.input != printable(channel.input);
                                     });
  if (!typeable) names.clear();
  return shell_word(document.folder + "/captures/" + control + "-set.wav") + " --calibration " +
         shell_word(document.folder + "/calibration.toml") +
         (names.empty() ? "" : " --names " + shell_word(names));
}

void write_what_next(std::ostream& out, const DemoDocument& document, const std::string& program) {
  const std::string& folder = document.folder;
  out << "\nAll of it on one sheet, to print and keep: " << folder
      << "/sheet.html\nTones, recordings and results are in " << folder << "; try\n  "
      << shell_word(program) << " analyze " << example_of(document) << '\n';
}

}  // namespace

std::string demo_text(const DemoDocument& document, const std::string& program) {
  std::ostringstream out;
  out << "Virtual rig: " << printable(document.system)
      << ". All of this was found from recordings and meter readings.\n\n";
  write_calibration(out, document.calibration);
  write_head_unit(out, document.head_unit);
  write_wiring(out, document);
  write_table(out, document);
  out << '\n';
  write_outcome(out, document);
  write_cautions(out);
  write_what_next(out, document, program);
  return out.str();
}

}  // namespace railtap::report
