// SPDX-License-Identifier: MIT
// What is said to a virtual car in a rehearsal, and the faults that it has.
#include <doctest/doctest.h>

#include <set>
#include <string>
#include <variant>

#include "command/page_options.hpp"
#include "command/rehearsal.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;
using namespace railtap::command;
using test::within_abs;

namespace {

TurnVolume volume(const std::string& typed) {
  const auto words = car_words(typed);
  REQUIRE_MESSAGE(words.has_value(), typed);
  REQUIRE_MESSAGE(std::holds_alternative<TurnVolume>(*words), typed);
  return std::get<TurnVolume>(*words);
}

TurnGain gain(const std::string& typed) {
  const auto words = car_words(typed);
  REQUIRE_MESSAGE(words.has_value(), typed);
  REQUIRE_MESSAGE(std::holds_alternative<TurnGain>(*words), typed);
  return std::get<TurnGain>(*words);
}

MendFault mending(const std::string& typed) {
  const auto words = car_words(typed);
  REQUIRE_MESSAGE(words.has_value(), typed);
  REQUIRE_MESSAGE(std::holds_alternative<MendFault>(*words), typed);
  return std::get<MendFault>(*words);
}

rig::Rig camper_van() {
  return rig::parse_rig(rig::camper_van_text(), "camper_van.toml");
}

}  // namespace

TEST_CASE("rehearsal: the volume is turned by words, numbers and keys") {
  const std::pair<const char*, TurnVolume> said[] = {{"turn the volume up 3", {true, 3}},
                                                     {"volume up", {true, 1}},
                                                     {"Volume down 2", {true, -2}},
                                                     {"turn down the volume by 4", {true, -4}},
                                                     {"volume 24", {false, 24}},
                                                     {"vol +2", {true, 2}},
                                                     {"set the volume to 30", {false, 30}},
                                                     {"volume -1", {true, -1}},
                                                     {"+++", {true, 3}},
                                                     {"-", {true, -1}},
                                                     {"\x1b[A\x1b[A", {true, 2}},
                                                     {"\x1bOB", {true, -1}}};
  for (const auto& line : said) {
    const auto& typed = line.first;  // no structured binding: clang 14 cannot capture one
    const auto& wanted = line.second;
    CAPTURE(typed);
    CHECK(volume(typed).by == wanted.by);
    CHECK(volume(typed).steps == wanted.steps);
  }
}

TEST_CASE("rehearsal: a gain is turned by decibels, to a place, and by keys") {
  CHECK(gain("gain front +2 dB").control == "front");
  CHECK(within_abs(gain("gain front +2 dB").by->value(), 2.0, 1e-12));
  CHECK(within_abs(gain("turn the gain of front down by 1.5dB").by->value(), -1.5, 1e-12));
  CHECK(gain("turn the gain of door front up by 3 dB").control == "door front");
  CHECK(within_abs(gain("gain bass 30 %").to.value(), 30.0, 1e-12));
  CHECK_FALSE(gain("gain bass 30 %").by.has_value());
  CHECK(within_abs(gain("gain rear to minimum").to.value(), 0.0, 1e-12));
  CHECK_FALSE(gain(">>>").control.has_value());
  CHECK(within_abs(gain(">>>").by->value(), 1.5, 1e-12));
  CHECK(within_abs(gain("\x1b[D").by->value(), -0.5, 1e-12));
}

TEST_CASE("rehearsal: faults are put right by saying so") {
  CHECK(mending("exchange front").where == "front");
  CHECK(mending("exchange the pairs of front").where == "front");
  CHECK(mending("swap rear left and right").where == "rear");
  CHECK(mending("turn front left round").kind == FaultKind::inverted);
  CHECK(mending("reverse front left").where == "front left");
  CHECK(mending("connect rear right").kind == FaultKind::not_connected);
  CHECK(mending("switch the high-pass of rear off").where == "rear");
  CHECK(mending("boost off bass").where == "bass");
  CHECK(mending("switch the bass boost of rear off").where == "rear");
  CHECK(mending("unplug the charger").kind == FaultKind::hum);
  CHECK(mending("level control off").kind == FaultKind::level_control);
  CHECK(mending("tone controls flat").kind == FaultKind::tone_controls);
}

TEST_CASE("rehearsal: answers and file names are not taken for words to the car") {
  for (const char* typed : {"", "3.52V", "24", "head-unit-volume.wav", "yes", "volume", "gain.wav",
                            "front, 55W, 4ohm, 60W", "my gain/front.wav", "boost"}) {
    CAPTURE(typed);
    CHECK_FALSE(car_words(typed).has_value());
  }
  for (const char* typed : {"gain front", "gain front 2 dB", "volume x up y 1z", "exchange left",
                            "gain front 130 %", "volume 99999"}) {
    CAPTURE(typed);
    CHECK_THROWS_AS((void)car_words(typed), Error);
  }
}

TEST_CASE("rehearsal: every seed gives three faults of different kinds, which mending takes out") {
  std::set<FaultKind> seen;
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    rig::Rig rig = camper_van();
    mend_all(rig);
    REQUIRE(faults_in(rig).empty());
    draw_faults(rig, seed);
    const auto faults = faults_in(rig);
    CAPTURE(seed);
    CHECK(faults.size() == 3);
    std::set<FaultKind> kinds;
    for (const CarFault& fault : faults) kinds.insert(fault.kind);
    CHECK(kinds.size() == 3);
    seen.insert(kinds.begin(), kinds.end());
    for (const CarFault& fault : faults) mend(rig, fault);
    for (const ControlPlace& place : controls_of(rig)) place.control->travel = 0.0;
    CHECK(faults_in(rig).empty());
  }
  CHECK(seen.size() == 8);  // all but tone controls, which a description may have
}

TEST_CASE("rehearsal: the same seed has the same faults, and what was right is made wrong") {
  rig::Rig one = camper_van(), other = camper_van();
  mend_all(one);
  mend_all(other);
  draw_faults(one, 17);
  draw_faults(other, 17);
  CHECK(faults_in(one) == faults_in(other));
  rig::Rig right = camper_van();
  mend_all(right);
  mend(right, {FaultKind::swapped, 0, 0});
  REQUIRE(faults_in(right).size() == 1);
  CHECK(describe(right, faults_in(right).front()) == "front: left and right are swapped");
}

TEST_CASE("rehearsal: the meter reads the tone that plays, and what was corrected is said") {
  Rehearsal car({}, nullptr);
  const WalkAside aside = car.aside();
  const auto at_head_unit = [](double level_dbfs) {
    Step step;
    step.playing.emplace();
    step.playing->tone = signal::Sine{Hertz(100.0), Dbfs(level_dbfs), Seconds(2.0)};
    return step;
  };
  const Step soft = at_head_unit(-20.0);
  const Step loud = at_head_unit(0.0);
  const auto soft_read = aside.meter(soft);
  const auto loud_read = aside.meter(loud);
  REQUIRE(soft_read);
  REQUIRE(loud_read);
  // By 20 dB; the meter's last digit is a quarter of the softer reading.
  CHECK(loud_read->volts > 7.0 * soft_read->volts);
  CHECK(aside.take("exchange front", soft) == "Left and right of front are exchanged.");
  CHECK(aside.take("reverse front left", soft) == "Plus and minus of front left are exchanged.");
  CHECK(aside.take("filter off rear", soft) == "The filter of rear is off.");
  CHECK(aside.take("level control off", soft) == "The recorder's automatic level control is off.");
}

TEST_CASE("rehearsal: the page shows what the meter reads, and the way to the target") {
  Screen screen;
  screen.question = "The meter's reading:";
  screen.listening = Listening{std::nullopt, Volts(20.0), Decibels(0.25)};
  screen.meter = MeterReading{Volts(10.0), "10.00", "V", ""};
  const page::PageState state = page_state(screen, 3);
  REQUIRE(state.meters.size() == 1);
  const page::Meter& meter = state.meters.front();
  CHECK(meter.digits == "10.00");
  CHECK(meter.unit == "V");
  CHECK(meter.in_focus);
  CHECK(meter.way == page::Way::raise);
  CHECK(meter.advice.text == "RAISE 6.02 dB to 20.00 V");
  CHECK(meter.bar.has_value());
  CHECK(meter.rails.empty());
  // A reading outside the meter's band leads nowhere.
  screen.meter->note = "this tone is outside its band";
  const page::PageState outside = page_state(screen, 4);
  CHECK(outside.meters.front().way == page::Way::none);
  CHECK(outside.meters.front().advice.text.empty());
  CHECK(outside.meters.front().notes.front().text == "this tone is outside its band");
  screen.meter.reset();
  CHECK(page_state(screen, 5).meters.empty());
}
