// SPDX-License-Identifier: MIT
// What a virtual rig consists of: what is printed on its parts, what goes on inside them, and what
// its settings amount to.
#include "rig/description.hpp"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <cstdint>
#include <numbers>

#include "electric/target.hpp"
#include "files/toml_table.hpp"

namespace railtap::rig {

// From the text of a rig's description to the rig.

namespace {

using files::above_zero;
using files::Range;
using files::TomlTable;

constexpr Range positive{above_zero};
constexpr Range not_negative{0.0};
constexpr Range whole_percent{0.0, 100.0};
/// Filters' corners: the rig's high rate resolves them well.
constexpr Range corner{0.1, 100000.0};

void read_stage(TomlTable table, OutputStage& stage, bool with_rail) {
  if (with_rail) stage.rail = Volts(table.required_number("rail_v", positive));
  table.set("asymmetry_percent", stage.asymmetry, {0.0, 50.0});
  table.set("knee_percent", stage.knee, whole_percent);
  table.set("crossover_v", stage.crossover, not_negative);
  table.set("crossover_loss_percent", stage.crossover_loss, whole_percent);
  stage.slew_v_per_us = table.number("slew_v_per_us", positive);
  table.set("output_resistance_ohm", stage.output_resistance, not_negative);
  table.set("sag_resistance_ohm", stage.sag_resistance, not_negative);
  table.set("sag_time_s", stage.sag_time, positive);
  table.set("hiss_v", stage.hiss, not_negative);
  Limiter limiter;
  table.set("limiter_attack_s", limiter.attack, positive);
  table.set("limiter_release_s", limiter.release, positive);
  if (const auto threshold = table.number("limiter_threshold_v", positive)) {
    limiter.threshold = Volts(*threshold);
    stage.limiter = limiter;
  }
  Protection protection;
  table.set("protection_hold_s", protection.hold, not_negative);
  if (const auto threshold = table.number("protection_threshold_v", positive)) {
    protection.threshold = Volts(*threshold);
    stage.protection = protection;
  }
  table.finish();
}

void read_supply(TomlTable table, Supply& supply) {
  table.set("voltage_v", supply.voltage, positive);
  table.set("feed_resistance_ohm", supply.feed_resistance, not_negative);
  table.finish();
}

void read_tone_controls(TomlTable table, ToneControls& tone) {
  constexpr Range boost{-30.0, 30.0};
  table.set("bass_db", tone.bass, boost);
  table.set("treble_db", tone.treble, boost);
  table.set("loudness", tone.loudness);
  table.set("loudness_boost_db", tone.loudness_boost, {0.0, 30.0});
  table.finish();
}

void read_head_unit(TomlTable table, HeadUnit& unit, Volts supply) {
  unit.name = table.text("name").value_or("head unit");
  if (const auto steps = table.integer("volume_steps", {1.0, 1000.0})) {
    unit.steps = static_cast<int>(*steps);
  }
  table.set("volume_step_db", unit.step_size, {0.01, 20.0});
  table.set("full_output_v", unit.full_output, positive);
  table.set("rear_fader_db", unit.rear_fader, {-60.0, 0.0});
  table.set("bridge_tied", unit.bridge_tied);
  table.set("drop_v", unit.drop, not_negative);
  if (unit.drop >= supply) {
    throw table.error("drop_v", "head_unit.drop_v is not below the supply",
                      "give a drop of a few volts");
  }
  read_tone_controls(table.table("tone"), unit.tone);
  read_stage(table.table("output"), unit.output, false);
  table.finish();
}

/// "front left", "-front right", "rear left + rear right": a sum is an average, as summing inputs
/// are.
Input parse_input(TomlTable& table, const std::string& text) {
  const auto bad = [&](const std::string& why) {
    return table.error("inputs", "the input '" + text + "' " + why,
                       "write for example \"front left\", \"-front right\" (wires crossed) or "
                       "\"rear left + rear right\"");
  };
  Input input;
  int front = 0, rear = 0;
  for (std::size_t start = 0; start <= text.size();) {
    const std::size_t end = std::min(text.find('+', start), text.size());
    std::string term = text.substr(start, end - start);
    start = end + 1;
    std::erase(term, ' ');
    const double sign = term.starts_with('-') ? -1.0 : 1.0;
    if (sign < 0.0) term.erase(0, 1);
    (term.starts_with("front") ? front : rear) += 1;
    if (term == "frontleft" || term == "rearleft") {
      input.left += sign;
    } else if (term == "frontright" || term == "rearright") {
      input.right += sign;
    } else {
      throw bad("is not understood");
    }
  }
  if (front > 0 && rear > 0) throw bad("mixes front and rear, which the rig cannot");
  input.rear = rear > 0;
  const double terms = front + rear;
  input.left /= terms;
  input.right /= terms;
  return input;
}

void read_inputs(TomlTable& table, Control& control) {
  control.input_names = table.texts("inputs");
  for (const std::string& text : control.input_names) {
    control.inputs.push_back(parse_input(table, text));
  }
  const std::size_t count = control.inputs.size();
  if (count < 1 || count > 2 || control.inputs.front().rear != control.inputs.back().rear) {
    throw table.error("inputs", "a gain control has one or two channels, both front or both rear",
                      "list their inputs: [\"front left\", \"front right\"]");
  }
}

FilterSetting read_filter(TomlTable& table, const std::string& name) {
  FilterSetting filter;
  const auto frequency = table.number(name + "_hz", corner);
  const auto order = table.integer(name + "_order", {1.0, 4.0});
  if (order && *order == 3) {
    throw table.error(name + "_order", name + "_order is 3", "give 1, 2 or 4");
  }
  if (frequency) filter = {Hertz(*frequency), static_cast<int>(order.value_or(2))};
  return filter;
}

void read_faults(TomlTable table, Faults& faults) {
  table.set("swapped", faults.swapped);
  table.set("silent_first", faults.silent[0]);
  table.set("silent_second", faults.silent[1]);
  table.set("bass_boost_db", faults.bass_boost, {-30.0, 30.0});
  table.set("bass_boost_hz", faults.bass_boost_frequency, {10.0, 1000.0});
  table.set("crosstalk_db", faults.crosstalk, {-120.0, 0.0});
  table.set("hum_v", faults.hum, not_negative);
  table.set("hum_hz", faults.hum_frequency, {10.0, 1000.0});
  table.set("whine_v", faults.whine, not_negative);
  table.set("whine_hz", faults.whine_frequency, {10.0, 20000.0});
  table.finish();
}

/// Recordings are named after controls.
std::string read_control_name(TomlTable& table) {
  std::string name = table.required_text("name");
  const auto harmless = [](unsigned char c) {
    return std::isalnum(c) != 0 || c == '-' || c == '_';
  };
  if (!std::all_of(name.begin(), name.end(), harmless)) {
    throw table.error("name", "the control's name '" + name + "' is no file name",
                      "use letters, digits, - and _");
  }
  return name;
}

Control read_control(TomlTable table) {
  Control control;
  control.name = read_control_name(table);
  read_inputs(table, control);
  constexpr double percent = 0.01;
  control.travel = percent * table.number("travel_percent", whole_percent).value_or(0.0);
  table.set("mismatch_db", control.mismatch, {-20.0, 20.0});
  control.speaker_power = Watts(table.required_number("speaker_power_w", positive));
  control.speaker_load = Ohms(table.required_number("speaker_load_ohm", positive));
  table.set("speaker_sensitivity_db", control.speaker_sensitivity, {50.0, 130.0});
  table.set("setup_tone_hz", control.setup_tone, {20.0, 5000.0});
  control.high_pass = read_filter(table, "high_pass");
  control.low_pass = read_filter(table, "low_pass");
  read_faults(table.table("faults"), control.faults);
  table.finish();
  return control;
}

Amplifier read_amplifier(TomlTable table) {
  Amplifier amplifier;
  amplifier.name = table.required_text("name");
  amplifier.rated_power = Watts(table.required_number("rated_power_w", positive));
  amplifier.rated_load = Ohms(table.required_number("rated_load_ohm", positive));
  table.set("sensitivity_low_v", amplifier.sensitivity_low, positive);
  table.set("sensitivity_high_v", amplifier.sensitivity_high, positive);
  if (amplifier.sensitivity_high < amplifier.sensitivity_low) {
    throw table.error("sensitivity_high_v", "sensitivity_high_v is below sensitivity_low_v",
                      "low is the input that suffices with the control fully up");
  }
  table.set("bridge_tied", amplifier.bridge_tied);
  table.set("input_limit_v", amplifier.input_limit, positive);
  table.set("input_hiss_v", amplifier.input_hiss, not_negative);
  table.set("regulated", amplifier.regulated);
  table.set("efficiency_percent", amplifier.efficiency, {1.0, 100.0});
  read_stage(table.table("output"), amplifier.output, true);
  for (TomlTable& control : table.tables("control")) {
    amplifier.controls.push_back(read_control(std::move(control)));
  }
  if (amplifier.controls.empty()) {
    throw table.error("control", "the amplifier " + amplifier.name + " has no gain control",
                      "add [[amplifier.control]] with its name, inputs and speaker");
  }
  table.finish();
  return amplifier;
}

void read_tap(TomlTable table, Tap& tap) {
  if (const auto value = table.number("attenuation", {1.0, 10000.0}))
    tap.nominal_attenuation = *value;
  table.set("error_percent", tap.error, {-20.0, 20.0});
  table.set("bridge_tied", tap.bridge_tied);
  table.set("coupling_hz", tap.coupling, {0.01, 1000.0});
  table.finish();
}

HandSetting read_hand(TomlTable table) {
  HandSetting hand;
  if (const auto speed = table.number("speed_db_per_s", {0.1, 100.0})) hand.speed_db_per_s = *speed;
  table.set("unevenness_percent", hand.unevenness, whole_percent);
  table.set("pause_every_db", hand.pause_every, {0.0, 100.0});
  table.set("pause_s", hand.pause, {0.0, 60.0});
  table.set("returns", hand.returns);
  table.finish();
  return hand;
}

void read_level_control(TomlTable& table, std::optional<LevelControl>& control) {
  std::optional<Dbfs> level;
  LevelControl read;
  table.set("level_control_dbfs", level, {-60.0, 0.0});
  if (!level) return;  // the other keys are refused then: they would do nothing
  if (const auto rise = table.number("level_control_rise_db_per_s", positive))
    read.rise_db_per_s = *rise;
  table.set("level_control_hysteresis_db", read.hysteresis, {0.01, 30.0});
  table.set("level_control_range_db", read.range, {0.01, 60.0});
  read.level = *level;
  control = read;
}

void read_sound_card(TomlTable table, SoundCard& card) {
  table.set("rate_hz", card.rate, {8000.0, 192000.0});
  table.set("full_scale_v", card.full_scale, positive);
  table.set("coupling_hz", card.coupling, {0.01, 1000.0});
  table.set("anti_alias_hz", card.anti_alias, {1000.0, 200000.0});
  table.set("input_limit_percent", card.input_limit, {1.0, 100.0});
  if (const auto bits = table.integer("bits", {8.0, 32.0})) card.bits = static_cast<int>(*bits);
  table.set("dither", card.dither);
  table.set("noise_dbfs", card.noise, {-200.0, 0.0});
  table.set("dc_percent", card.dc, {-50.0, 50.0});
  read_level_control(table, card.level_control);
  table.set("gap_every_s", card.gaps.every, positive);
  table.set("gap_s", card.gaps.length, positive);
  table.set("missing_every_s", card.missing.every, positive);
  table.set("missing_s", card.missing.length, positive);
  if (const auto ppm = table.number("clock_ppm", {-1000.0, 1000.0})) card.clock_ppm = *ppm;
  table.finish();
}

void read_multimeter(TomlTable table, Multimeter& meter) {
  const std::string type = table.text("type").value_or("average");
  if (type != "average" && type != "true-rms") {
    throw table.error("type", "multimeter.type is '" + type + "'", "give average or true-rms");
  }
  meter.manual.type =
      type == "average" ? electric::MeterType::average_responding : electric::MeterType::true_rms;
  meter.manual.type_assumed = false;
  table.set("accuracy_percent", meter.manual.of_reading, whole_percent);
  if (const auto counts = table.integer("accuracy_counts", {0.0, 1000.0})) {
    meter.manual.counts = static_cast<int>(*counts);
  }
  meter.manual.resolution = Volts(table.required_number("resolution_v", positive));
  table.set("lowest_hz", meter.manual.lowest_frequency, positive);
  table.set("highest_hz", meter.manual.highest_frequency, positive);
  if (const auto share = table.number("gain_error_share", {-1.0, 1.0}))
    meter.gain_error_share = *share;
  const double counts = meter.manual.counts;
  if (const auto offset = table.number("offset_counts", {-counts, counts}))
    meter.offset_counts = *offset;
  table.finish();
}

void require_different_names(const TomlTable& table, const Rig& rig) {
  std::vector<std::string> names;
  for (const Amplifier& amplifier : rig.amplifiers) {
    for (const Control& control : amplifier.controls) {
      if (std::find(names.begin(), names.end(), control.name) != names.end()) {
        throw table.error("amplifier", "two controls are named " + control.name,
                          "give each its own name");
      }
      names.push_back(control.name);
    }
  }
}

Rig read_rig(TomlTable table) {
  const std::string schema = table.required_text("schema");
  if (schema != "railtap.rig/1") {
    throw table.error("schema", "the schema is '" + schema + "'",
                      "this version reads \"railtap.rig/1\"");
  }
  Rig rig;
  rig.name = table.text("name").value_or("rig");
  if (const auto seed = table.integer("seed", {0.0, 1e9})) {
    rig.seed = static_cast<std::uint64_t>(*seed);
  }
  read_supply(table.table("supply"), rig.supply);
  read_head_unit(table.table("head_unit"), rig.head_unit, rig.supply.voltage);
  for (TomlTable& amplifier : table.tables("amplifier")) {
    rig.amplifiers.push_back(read_amplifier(std::move(amplifier)));
  }
  if (rig.amplifiers.empty()) {
    throw table.error("amplifier", "no amplifier is described",
                      "add [[amplifier]] with its ratings");
  }
  require_different_names(table, rig);
  read_tap(table.table("tap"), rig.tap);
  if (table.has("hand")) rig.hand = read_hand(table.table("hand"));
  read_sound_card(table.table("sound_card"), rig.sound_card);
  read_multimeter(table.table("multimeter"), rig.multimeter);
  table.finish();
  return rig;
}

}  // namespace

Rig parse_rig(std::string_view text, const std::string& place) {
  const toml::table table =
      files::parse_toml(text, place, "correct that line; docs/rig.md shows an example");
  return read_rig(TomlTable(table, "", place));
}

std::vector<std::string> output_names(const Control& control) {
  std::vector<std::string> names;
  for (const std::string& input : control.input_names) {
    const bool sum = input.find('+') != std::string::npos && control.input_names.size() == 1;
    const std::size_t first = input.find_first_not_of("- ");
    names.push_back(sum || first == std::string::npos ? control.name : input.substr(first));
  }
  return names;
}

// The rig's settings put in terms of what can be measured.

namespace {

constexpr double percent = 0.01;

/// Peak of the nearer rail where its knee begins, re the rail.
double usable(const OutputStage& stage) {
  return (1.0 - percent * stage.asymmetry.value()) * (1.0 - percent * stage.knee.value());
}

Volts rated_volts(const Amplifier& amplifier) {
  return Volts(std::sqrt(amplifier.rated_power.value() * amplifier.rated_load.value()));
}

}  // namespace

Volts head_unit_rail(const Rig& rig) {
  return rig.supply.voltage - rig.head_unit.drop;
}

double volume_gain(const HeadUnit& unit, int step) {
  if (step == 0) return 0.0;
  return amplitude_ratio(-static_cast<double>(unit.steps - step) * unit.step_size);
}

Volts amplifier_rail(const Rig& rig, const Amplifier& amplifier) {
  if (amplifier.regulated) return amplifier.output.rail;
  return amplifier.output.rail * (rig.supply.voltage / electric::rated_supply);
}

Ohms sag_resistance(const Rig& rig, const Amplifier& amplifier) {
  double channels = 0.0;
  for (const Control& control : amplifier.controls) {
    channels += static_cast<double>(control.inputs.size());
  }
  const double ratio = amplifier_rail(rig, amplifier) / rig.supply.voltage;
  const double from_feed =
      amplifier.regulated ? 0.0
                          : ratio * ratio * channels / (percent * amplifier.efficiency.value());
  return amplifier.output.sag_resistance + rig.supply.feed_resistance * from_feed;
}

double gain(const Amplifier& amplifier, const Control& control) {
  const double range = amplifier.sensitivity_high / amplifier.sensitivity_low;
  const Volts sensitivity = amplifier.sensitivity_high / std::pow(range, control.travel);
  return rated_volts(amplifier) / sensitivity;
}

Volts clip_onset(const Rig& rig, const Amplifier& amplifier, std::optional<Ohms> load) {
  const Volts rail = amplifier_rail(rig, amplifier);
  const double share = usable(amplifier.output);
  if (!load) return rail * share / std::numbers::sqrt2;
  // Sine of inner peak p: mean rectified current (2/π)·p/R; p touches (rail − sag·current)·share.
  // With asymmetry the sag is taken off each rail alike.
  const Ohms all = *load + amplifier.output.output_resistance;
  const double knee = 1.0 - percent * amplifier.output.knee.value();
  const double fall = 2.0 / std::numbers::pi * (sag_resistance(rig, amplifier) / all);
  const Volts peak = rail * share / (1.0 + knee * fall);
  return peak * (*load / all) / std::numbers::sqrt2;
}

Volts head_unit_clip_onset(const Rig& rig) {
  return head_unit_rail(rig) * usable(rig.head_unit.output) / std::numbers::sqrt2;
}

int highest_clean_step(const Rig& rig, Dbfs level) {
  for (int step = rig.head_unit.steps; step > 0; --step) {
    const Volts output =
        rig.head_unit.full_output * volume_gain(rig.head_unit, step) * sine_peak(level);
    if (output <= head_unit_clip_onset(rig)) return step;
  }
  return 0;
}

Volts volts_per_full_scale(const Rig& rig) {
  const double attenuation = rig.tap.nominal_attenuation * (1.0 + percent * rig.tap.error.value());
  return rig.sound_card.full_scale * attenuation;
}

}  // namespace railtap::rig
