// SPDX-License-Identifier: MIT
// What is wrong with a virtual car.
#include "command/rehearsal_faults.hpp"

#include <algorithm>
#include <array>

#include "signal/noise.hpp"

namespace railtap::command {
namespace {

// Speaker-level sources want a gain within about the first quarter of its travel (common practice).
constexpr double suspicious_travel = 0.4;
constexpr double least_drawn = 0.6, most_drawn = 0.8;
constexpr Hertz drawn_high_pass{80.0};
constexpr int drawn_order = 2;
constexpr Volts drawn_hum{0.15};
constexpr Decibels drawn_boost{6.0};

bool is_inverted(const rig::Input& input) {
  return input.left + input.right < 0.0;
}

void turn_round(rig::Input& input) {
  input.left = -input.left;
  input.right = -input.right;
}

// Kinds that are there once for the whole car.
bool is_of_control(FaultKind kind) {
  return kind != FaultKind::level_control && kind != FaultKind::tone_controls;
}

bool has_tone(const rig::ToneControls& tone) {
  return tone.loudness || tone.bass.value() != 0.0 || tone.treble.value() != 0.0;
}

void add_faults(std::vector<CarFault>& to, const rig::Control& control, std::size_t index) {
  const auto add = [&](bool there, FaultKind kind, std::size_t output = 0) {
    if (there) to.push_back({kind, index, output});
  };
  // A single channel that sums both sides may have its low-pass.
  const bool filters = control.high_pass.order > 0 || control.low_pass.order > 0;
  add(control.faults.swapped, FaultKind::swapped);
  for (std::size_t i = 0; i < control.inputs.size(); ++i) {
    add(is_inverted(control.inputs[i]), FaultKind::inverted, i);
    add(control.faults.silent[i], FaultKind::not_connected, i);
  }
  add(filters && control.inputs.size() > 1, FaultKind::filter_on);
  add(control.faults.bass_boost.value() != 0.0, FaultKind::boost_on);
  add(control.travel > suspicious_travel, FaultKind::gain_too_high);
  add(control.faults.hum.value() > 0.0, FaultKind::hum);
}

// One of the indices 0 … count − 1.
std::size_t drawn(signal::Random& random, std::size_t count) {
  return std::min(count - 1,
                  static_cast<std::size_t>(random.uniform() * static_cast<double>(count)));
}

void draw_wiring(rig::Control& control, signal::Random& random) {
  const bool pair = control.inputs.size() > 1;
  switch (drawn(random, pair ? 3 : 1)) {
    case 1:
      control.faults.swapped = true;
      return;
    case 2:
      control.faults.silent[drawn(random, 2)] = true;
      return;
    default:
      turn_round(control.inputs[drawn(random, control.inputs.size())]);
  }
}

void draw_other(rig::Rig& rig, rig::Control& control, signal::Random& random) {
  switch (drawn(random, control.inputs.size() > 1 ? 4 : 3)) {
    case 0:
      control.faults.hum = drawn_hum;
      return;
    case 1:
      rig.sound_card.level_control = rig::LevelControl{};
      return;
    case 2:
      control.faults.bass_boost = drawn_boost;
      return;
    default:
      control.high_pass = {drawn_high_pass, drawn_order};
  }
}

}  // namespace

std::vector<ControlPlace> controls_of(rig::Rig& rig) {
  std::vector<ControlPlace> places;
  for (rig::Amplifier& amplifier : rig.amplifiers) {
    for (rig::Control& control : amplifier.controls) places.push_back({&amplifier, &control});
  }
  return places;
}

std::string output_name(const rig::Control& control, std::size_t output) {
  if (control.inputs.size() == 1 || output >= control.input_names.size()) return control.name;
  const std::string& described = control.input_names[output];
  const auto first = described.find_first_not_of("- ");
  return first == std::string::npos ? control.name : described.substr(first);
}

void mend_all(rig::Rig& rig) {
  for (const ControlPlace& place : controls_of(rig)) place.control->travel = 0.0;
  for (const CarFault& fault : faults_in(rig)) mend(rig, fault);
}

void draw_faults(rig::Rig& rig, std::uint64_t seed) {
  const auto places = controls_of(rig);
  if (places.empty()) return;
  signal::Random random(seed);
  draw_wiring(*places[drawn(random, places.size())].control, random);
  places[drawn(random, places.size())].control->travel =
      least_drawn + (most_drawn - least_drawn) * random.uniform();
  draw_other(rig, *places[drawn(random, places.size())].control, random);
}

std::vector<CarFault> faults_in(rig::Rig& rig) {
  std::vector<CarFault> faults;
  const auto places = controls_of(rig);
  for (std::size_t i = 0; i < places.size(); ++i) add_faults(faults, *places[i].control, i);
  if (rig.sound_card.level_control) faults.push_back({FaultKind::level_control, {}, 0});
  if (has_tone(rig.head_unit.tone)) faults.push_back({FaultKind::tone_controls, {}, 0});
  return faults;
}

void mend(rig::Rig& rig, const CarFault& fault) {
  if (fault.kind == FaultKind::level_control) rig.sound_card.level_control.reset();
  if (fault.kind == FaultKind::tone_controls) rig.head_unit.tone = {};
  if (!is_of_control(fault.kind) || !fault.control) return;
  rig::Control& control = *controls_of(rig)[*fault.control].control;
  switch (fault.kind) {
    case FaultKind::swapped:
      control.faults.swapped = !control.faults.swapped;
      return;
    case FaultKind::inverted:
      return turn_round(control.inputs[fault.output]);
    case FaultKind::not_connected:
      control.faults.silent[fault.output] = false;
      return;
    case FaultKind::filter_on:
      control.high_pass.order = control.low_pass.order = 0;
      return;
    case FaultKind::boost_on:
      control.faults.bass_boost = Decibels(0.0);
      return;
    case FaultKind::hum:
      control.faults.hum = Volts(0.0);
      return;
    default:
      return;
  }
}

std::string describe(rig::Rig& rig, const CarFault& fault) {
  if (fault.kind == FaultKind::level_control) return "the recorder's automatic level control is on";
  if (fault.kind == FaultKind::tone_controls) return "the head unit's tone controls are not flat";
  const rig::Control& control = *controls_of(rig)[fault.control.value_or(0)].control;
  const std::string output = output_name(control, fault.output);
  switch (fault.kind) {
    case FaultKind::swapped:
      return control.name + ": left and right are swapped";
    case FaultKind::inverted:
      return output + ": plus and minus are exchanged";
    case FaultKind::not_connected:
      return output + ": not connected";
    case FaultKind::filter_on:
      return control.name + ": a filter is on";
    case FaultKind::boost_on:
      return control.name + ": the bass boost is on";
    case FaultKind::gain_too_high:
      return control.name + ": the gain is far too high";
    default:
      return control.name + ": hum";
  }
}

const char* name(FaultKind kind) {
  constexpr std::array names = {"swapped", "inverted", "not-connected", "filter",       "boost",
                                "gain",    "hum",      "level-control", "tone-controls"};
  return names[static_cast<std::size_t>(kind)];
}

}  // namespace railtap::command
