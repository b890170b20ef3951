// SPDX-License-Identifier: MIT
// A walk's rehearsal: a virtual car behind the same calls as a live input, and what is wrong with
// it: drawn, seen by looking inside, and mended.
#include "command/rehearsal.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include <nlohmann/json.hpp>

#include "audio/sound_file.hpp"
#include "command/dialog.hpp"
#include "files/atomic_file.hpp"
#include "rig/instruments.hpp"
#include "rig/terminals.hpp"
#include "signal/generator.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::command {

// What is wrong with a virtual car.

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
  const auto names = rig::output_names(control);
  return output < names.size() ? names[output] : control.name;
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

// A virtual car behind the same calls as a live input.

namespace {

namespace fs = std::filesystem;
using system::Json;

constexpr Hertz track_rate{48000.0};
constexpr double finest_turn = 0.005;  // nobody turns a control finer
constexpr Seconds volume_rest{0.7};    // on every step while the volume is turned up
constexpr Seconds meter_track{2.0};

std::string description_text(const std::string& file) {
  constexpr std::size_t longest = 1U << 20U;
  return file.empty() ? std::string(rig::camper_van_text()) : files::read_file(file, longest);
}

// The camper van is described with faults of the demo's; a rehearsal draws its own.
rig::Rig rig_of(const RehearsalSetup& setup) {
  const bool own = !setup.description.empty();
  rig::Rig rig = rig::parse_rig(description_text(setup.description),
                                own ? setup.description : "camper_van.toml");
  if (!own) mend_all(rig);
  if (setup.seed != 0) draw_faults(rig, setup.seed);
  return rig;
}

audio::Source source_of(const signal::Track& track) {
  const auto generator =
      std::make_shared<signal::Generator>(track, track_rate, signal::highest_float_peak);
  audio::Source source;
  source.format = {track_rate, 2, generator->frames(), "tone", std::nullopt};
  source.read = [generator](std::span<double> block) { return generator->render(block); };
  return source;
}

double range_db(const rig::Amplifier& amplifier) {
  return decibels_from_amplitude_ratio(amplifier.sensitivity_high / amplifier.sensitivity_low)
      .value();
}

std::string without_case(std::string text) {
  for (char& c : text) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return text;
}

electric::Meter meter_of(const rig::Rig& rig) {
  return rig.multimeter.manual;
}

bool meter_reads(const electric::Meter& meter, Hertz tone) {
  return (!meter.lowest_frequency || tone >= *meter.lowest_frequency) &&
         (!meter.highest_frequency || tone <= *meter.highest_frequency);
}

std::string carries(const rig::Input& input) {
  if (input.left != 0.0 && input.right != 0.0) return "both";
  return input.left != 0.0 ? "left" : "right";
}

}  // namespace

// The rig as it is now, and how it was.
struct Rehearsal::Car {
  RehearsalSetup setup;
  rig::Rig rig;
  std::vector<CarFault> faults;  // at the beginning
  int volume = 0;
  std::vector<Json> mended;  // in order
  // The meter, so that it is not read anew for every prompt.
  std::string read_at;
  Volts reading{0.0};

  explicit Car(const RehearsalSetup& given) : setup(given), rig(rig_of(given)) {
    faults = faults_in(rig);
    volume = rig.head_unit.steps / 2;
  }

  void restore(const Json& kept);
  [[nodiscard]] Json state();
  [[nodiscard]] std::size_t control_named(const std::string& name);
  [[nodiscard]] CarFault fault_named(const MendFault& wanted);
  [[nodiscard]] std::optional<std::size_t> control_at(const Step& step);
  [[nodiscard]] rig::Play play_of(const Playing& playing);

  std::string say(const TurnVolume& turn);
  std::string say(const TurnGain& turn, const Step& step);
  std::string say(const MendFault& wanted);
  void take_apart(const CarFault& fault);
  std::string corrected(const MendFault& wanted, const CarFault& fault);
  std::vector<std::string> display(const Step& step);
  std::optional<MeterReading> meter(const Step& step);
};

// --- State ---------------------------------------------------------------------------------------

Json Rehearsal::Car::state() {
  Json travel = Json::array();
  for (const ControlPlace& place : controls_of(rig)) travel.push_back(place.control->travel);
  Json done = Json::array();
  for (const Json& fault : mended) done.push_back(fault);
  return {{"volume", volume}, {"travel", travel}, {"mended", done}};
}

void Rehearsal::Car::restore(const Json& kept) {
  const auto places = controls_of(rig);
  try {
    const auto& json = kept.value();
    volume = std::clamp(json.at("volume").get<int>(), 0, rig.head_unit.steps);
    for (const auto& fault : json.at("mended")) {
      CarFault done;
      done.kind = static_cast<FaultKind>(fault.at("kind").get<int>());
      if (fault.at("control").is_number()) done.control = fault["control"].get<std::size_t>();
      done.output = fault.at("output").get<std::size_t>();
      if (done.control.value_or(0) >= places.size() || done.output > 1) throw Error("", "", "");
      take_apart(done);
    }
    const auto& travel = json.at("travel");
    if (travel.size() != places.size()) throw Error("", "", "");
    for (std::size_t i = 0; i < places.size(); ++i)
      places[i].control->travel = std::clamp(travel[i].get<double>(), 0.0, 1.0);
  } catch (const std::exception&) {
    throw Error("the rehearsal was begun with another car", setup.description,
                "give the same --description, or begin a new record");
  }
}

void Rehearsal::Car::take_apart(const CarFault& fault) {
  mend(rig, fault);
  mended.push_back({{"kind", static_cast<int>(fault.kind)},
                    {"control", fault.control ? Json(*fault.control) : Json(nullptr)},
                    {"output", fault.output}});
}

// --- Words ---------------------------------------------------------------------------------------

std::size_t Rehearsal::Car::control_named(const std::string& name) {
  const auto places = controls_of(rig);
  std::string names;
  for (std::size_t i = 0; i < places.size(); ++i) {
    if (without_case(places[i].control->name) == name) return i;
    names += (names.empty() ? "" : ", ") + places[i].control->name;
  }
  throw Error("there is no gain control '" + short_name(name) + "'", "", "there is " + names);
}

CarFault Rehearsal::Car::fault_named(const MendFault& wanted) {
  if (wanted.where.empty()) return {wanted.kind, std::nullopt, 0};
  const bool of_output =
      wanted.kind == FaultKind::inverted || wanted.kind == FaultKind::not_connected;
  if (!of_output) return {wanted.kind, control_named(wanted.where), 0};
  const auto places = controls_of(rig);
  std::string names;
  for (std::size_t i = 0; i < places.size(); ++i) {
    for (std::size_t output = 0; output < places[i].control->inputs.size(); ++output) {
      const std::string output_is = output_name(*places[i].control, output);
      if (without_case(output_is) == wanted.where) return {wanted.kind, i, output};
      names += (names.empty() ? "" : ", ") + output_is;
    }
  }
  throw Error("there is no output '" + short_name(wanted.where) + "'", "", "there is " + names);
}

std::optional<std::size_t> Rehearsal::Car::control_at(const Step& step) {
  if (!step.playing || step.playing->control.empty()) return std::nullopt;
  return control_named(without_case(step.playing->control));
}

std::string Rehearsal::Car::say(const TurnVolume& turn) {
  const int wanted = turn.by ? volume + turn.steps : turn.steps;
  volume = std::clamp(wanted, 0, rig.head_unit.steps);
  const std::string end = wanted == volume ? "" : ", the end of its travel";
  return "The volume is at " + std::to_string(volume) + end + ".";
}

std::string Rehearsal::Car::say(const TurnGain& turn, const Step& step) {
  const auto control =
      turn.control ? std::optional(control_named(*turn.control)) : control_at(step);
  if (!control) throw Error("no gain control is named", "", "for example: gain front +2 dB");
  const ControlPlace place = controls_of(rig)[*control];
  const double travel = turn.by
                            ? place.control->travel + turn.by->value() / range_db(*place.amplifier)
                            : turn.to.value() / 100.0;
  place.control->travel = std::clamp(std::round(travel / finest_turn) * finest_turn, 0.0, 1.0);
  return "The gain of " + place.control->name + " is at " +
         format_fixed(Percent(100.0 * place.control->travel), 1) + ".";
}

std::string Rehearsal::Car::say(const MendFault& wanted) {
  CarFault fault = fault_named(wanted);
  const auto now = faults_in(rig);
  if (wanted.kind == FaultKind::hum) {
    for (const CarFault& there : now) {
      if (there.kind == FaultKind::hum) take_apart(there);
    }
    return corrected(wanted, fault);
  }
  if (wanted.kind == FaultKind::swapped &&
      controls_of(rig)[*fault.control].control->inputs.size() < 2)
    throw Error("it has one input only", wanted.where, "there is nothing to exchange");
  take_apart(fault);
  return corrected(wanted, fault);
}

std::string Rehearsal::Car::corrected(const MendFault& wanted, const CarFault& fault) {
  const auto places = controls_of(rig);
  const std::string control = fault.control ? places[*fault.control].control->name : "";
  const std::string output =
      fault.control ? output_name(*places[*fault.control].control, fault.output) : "";
  switch (wanted.kind) {
    case FaultKind::swapped:
      return "Left and right of " + control + " are exchanged.";
    case FaultKind::inverted:
      return "Plus and minus of " + output + " are exchanged.";
    case FaultKind::not_connected:
      return output + " is connected.";
    case FaultKind::filter_on:
      return "The filter of " + control + " is off.";
    case FaultKind::boost_on:
      return "The boost of " + control + " is off.";
    case FaultKind::level_control:
      return "The recorder's automatic level control is off.";
    case FaultKind::tone_controls:
      return "Tone controls and loudness are flat.";
    default:
      return "The laptop runs from its battery.";
  }
}

// --- What is played and seen ---------------------------------------------------------------------

rig::Play Rehearsal::Car::play_of(const Playing& playing) {
  rig::Play play;
  if (!playing.control.empty()) {
    std::size_t control = control_named(without_case(playing.control));
    play.point.at = rig::TapPoint::At::amplifier;
    while (control >= rig.amplifiers[play.point.amplifier].controls.size())
      control -= rig.amplifiers[play.point.amplifier++].controls.size();
    play.point.control = control;
  }
  const int last = playing.volume_turns ? rig.head_unit.steps : volume;
  for (int step = volume; step <= last; ++step)
    play.volume.push_back({volume_rest * static_cast<double>(step - volume), step});
  return play;
}

std::optional<MeterReading> Rehearsal::Car::meter(const Step& step) {
  constexpr int decimals = 2;
  if (!step.playing || !step.playing->tone) return std::nullopt;
  const Playing& playing = *step.playing;
  std::string at = playing.control + std::to_string(volume) + state().line() +
                   format_quantity(playing.tone->frequency) + format_quantity(playing.tone->level);
  if (at != read_at) {
    signal::Track track;
    track.parts = {{signal::Sine{playing.tone->frequency, playing.tone->level, meter_track},
                    signal::Channels::both, signal::MarkerBand::none}};
    Playing held = playing;
    held.volume_turns = false;
    reading = rig::read_meter(rig, play_of(held), source_of(track));
    read_at = std::move(at);
  }
  MeterReading shown;
  shown.volts = reading;
  const std::string text = format_fixed(reading, decimals);
  const std::size_t blank = text.find(' ');
  shown.digits = text.substr(0, blank);
  shown.unit = text.substr(blank + 1);
  if (!meter_reads(meter_of(rig), playing.tone->frequency))
    shown.note = "this tone is outside its band; the recording tells the volts";
  return shown;
}

std::vector<std::string> Rehearsal::Car::display(const Step& step) {
  if (!step.playing) return {};
  std::string line = "Virtual car: volume " + std::to_string(volume);
  if (const auto control = control_at(step)) {
    const rig::Control& at = *controls_of(rig)[*control].control;
    line += ", gain of " + at.name + " at " + format_fixed(Percent(100.0 * at.travel), 1);
  }
  return {line + "."};
}

// --- Rehearsal -----------------------------------------------------------------------------------

Rehearsal::Rehearsal(const RehearsalSetup& setup, const Json& kept)
    : car_(std::make_unique<Car>(setup)) {
  if (!kept.is_null()) car_->restore(kept);
}
Rehearsal::~Rehearsal() = default;
Rehearsal::Rehearsal(Rehearsal&&) noexcept = default;

Described Rehearsal::described() const {
  rig::Rig& rig = car_->rig;
  Described result;
  WalkFacts& facts = result.facts;
  facts.meter = electric::describe(meter_of(rig));
  for (const ControlPlace& place : controls_of(rig)) {
    WalkChannel channel;
    channel.plate.name = place.control->name;
    channel.plate.amplifier_power = place.amplifier->rated_power;
    channel.plate.load = place.amplifier->rated_load;
    channel.plate.speaker_power = place.control->speaker_power;
    channel.bass = place.control->inputs.size() == 1;
    channel.tone = place.control->setup_tone;
    for (std::size_t i = 0; i < place.control->inputs.size(); ++i) {
      channel.outputs.push_back(output_name(*place.control, i));
      channel.carries.push_back(carries(place.control->inputs[i]));
    }
    facts.channels.push_back(std::move(channel));
  }
  facts.tap_full_scale =
      rig.sound_card.full_scale * (rig.tap.nominal_attenuation / std::numbers::sqrt2);
  facts.volume_steps = rig.head_unit.steps;
  facts.source_outputs = {"front left", "front right"};
  return result;
}

void Rehearsal::record(const Take& take, const fs::path& path) {
  signal::Track track = take.playing.track;
  if (take.playing.volume_turns) {
    const double steps = car_->rig.head_unit.steps - car_->volume + 1;
    std::get<signal::Sine>(track.parts.front().signal).length = volume_rest * steps + Seconds(0.2);
  }
  const audio::Source recording =
      rig::record(car_->rig, car_->play_of(take.playing), source_of(track));
  audio::SoundFileSpec spec;
  spec.title = take.step;
  audio::write_sound_file(path, spec, recording, files::Overwrite::refuse);
}

std::string Rehearsal::gain_position(const std::string& control) const {
  const std::size_t at = car_->control_named(without_case(control));
  return format_fixed(Percent(100.0 * controls_of(car_->rig)[at].control->travel), 1);
}

WalkAside Rehearsal::aside() {
  Car& car = *car_;
  WalkAside aside;
  aside.take = [&car](const std::string& typed, const Step& step) -> std::optional<std::string> {
    const auto words = car_words(typed);
    if (!words) return std::nullopt;
    if (const auto* volume = std::get_if<TurnVolume>(&*words)) return car.say(*volume);
    if (const auto* gain = std::get_if<TurnGain>(&*words)) return car.say(*gain, step);
    return car.say(std::get<MendFault>(*words));
  };
  aside.display = [&car](const Step& step) { return car.display(step); };
  aside.meter = [&car](const Step& step) { return car.meter(step); };
  aside.state = [&car] { return car.state(); };
  aside.buttons = [](const Step& step) {
    std::vector<Button> buttons;
    if (!step.playing) return buttons;
    buttons = {{"+", "louder"}, {"-", "softer"}};
    if (step.playing->control.empty()) return buttons;
    buttons.push_back({">", "gain up"});
    buttons.push_back({"<", "gain down"});
    return buttons;
  };
  aside.help = car_words_help();
  return aside;
}

Json Rehearsal::outcome(bool at_end) const {
  rig::Rig& rig = car_->rig;
  Json json = {{"car", rig.name},
               {"description", car_->setup.description},
               {"seed", car_->setup.seed},
               {"faults", nullptr}};
  if (!at_end) return json;
  const auto left = faults_in(rig);
  Json faults = Json::array();
  for (const CarFault& fault : car_->faults) {
    const bool found = std::find(left.begin(), left.end(), fault) == left.end();
    faults.push_back(
        Json{{"kind", name(fault.kind)}, {"words", describe(rig, fault)}, {"found", found}});
  }
  json.set("faults", faults);
  return json;
}

std::vector<std::string> Rehearsal::told() const {
  rig::Rig& rig = car_->rig;
  const auto left = faults_in(rig);
  std::vector<std::string> lines;
  for (const CarFault& fault : car_->faults) {
    const bool found = std::find(left.begin(), left.end(), fault) == left.end();
    lines.push_back("- " + describe(rig, fault) + ": " + (found ? "corrected." : "not corrected."));
  }
  for (const CarFault& fault : left) {
    if (std::find(car_->faults.begin(), car_->faults.end(), fault) == car_->faults.end())
      lines.push_back("- " + describe(rig, fault) + ": was not a fault at the beginning.");
  }
  if (lines.empty()) lines.emplace_back("There were no faults.");
  return lines;
}

}  // namespace railtap::command
