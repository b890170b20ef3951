// SPDX-License-Identifier: MIT
// A watch as the phone page shows it, and the page's buttons as keys.
#include "live/watch_page.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace {

using namespace railtap;
using live::ChannelReading;
using live::WatchView;

ChannelReading reading_of(int channel) {
  ChannelReading reading;
  reading.channel = channel;
  reading.level = Dbfs(-6.0);
  reading.findings.emplace();
  reading.findings->verdict = judge::Verdict::clipped;
  reading.findings->frequency = Hertz(1000.0);
  reading.findings->thdn = Percent(3.0);
  reading.findings->flat_top.present = true;
  reading.findings->flat_top.overdrive_positive = Decibels(0.7);
  reading.findings->cause.emplace();
  reading.findings->cause->sentence = "Clipped: the tops are flat, 0.70 dB over.";
  reading.findings->cause->turn_down = Decibels(0.7);
  for (int i = 0; i < 500; ++i) {
    const double phase = i / 500.0;
    reading.cycle.push_back({phase, 0.4 * std::sin(2.0 * std::numbers::pi * phase), 0.0, 0.0, 1});
  }
  return reading;
}

WatchView view_of(int channels) {
  WatchView view;
  view.source = "front.wav";
  view.volts_per_full_scale = Volts(40.0);
  view.target = live::WatchTarget{live::level_of(Volts(14.14), Volts(40.0)), Decibels(0.25)};
  for (int c = 1; c <= channels; ++c) view.readings.push_back(reading_of(c));
  return view;
}

bool offers(const page::PageState& state, const std::string& key) {
  return std::any_of(state.buttons.begin(), state.buttons.end(),
                     [&](const page::Button& button) { return button.key == key; });
}

TEST_CASE("watch page: digits, advice, bar, rails, wave and notes of a clipped channel") {
  const page::PageState state = page_state(view_of(1), false);
  CHECK(state.title == "front.wav");
  REQUIRE(state.meters.size() == 1);
  const page::Meter& meter = state.meters[0];
  // -6 dBFS of 40 V peak: 40/sqrt(2)*10^(-6/20) = 14.18 V.
  CHECK(meter.digits == "14.18");
  CHECK(meter.unit == "V");
  CHECK(meter.in_focus);
  CHECK(meter.verdict.text == "CLIPPED");
  CHECK(meter.verdict.emphasis == page::Emphasis::alarm);
  CHECK(meter.way == page::Way::lower);
  CHECK(meter.advice.text == "LOWER 0.70 dB: FLAT TOPS");
  REQUIRE(meter.bar);
  CHECK(*meter.bar->mark == doctest::Approx(0.8));
  REQUIRE(meter.rails.size() == 2);
  CHECK(meter.rails[0].lit);
  CHECK(meter.rails[0].text == "FLAT, 0.70 dB over");
  CHECK_FALSE(meter.rails[1].lit);
  CHECK(meter.notes[0].text == "THD+N 3 %");
  // The flat tops were told by advice and rails.
  CHECK(meter.notes.size() == 3);
  CHECK(meter.wave.size() <= 120);
  CHECK(meter.wave.size() >= 60);
  const auto highest = std::max_element(meter.wave.begin(), meter.wave.end(),
                                        [](const auto& a, const auto& b) { return a.up < b.up; });
  CHECK(highest->up == doctest::Approx(1.0));
  CHECK(highest->across == doctest::Approx(0.25).epsilon(0.05));
}

TEST_CASE("watch page: of a square wave no overdrive is told that cannot be known") {
  WatchView view = view_of(1);
  judge::Findings& f = *view.readings[0].findings;
  f.flat_top.overdrive_positive = Decibels(33.64);
  f.cause->turn_down.reset();
  f.cause->sentence = "Clipped: or a square wave was played.";
  const page::Meter meter = page_state(view, false).meters.at(0);
  CHECK(meter.advice.text == "LOWER more than 20 dB: FLAT TOPS");
  CHECK(meter.rails[0].text == "FLAT, more than 20 dB over");
  CHECK(std::any_of(meter.notes.begin(), meter.notes.end(),
                    [&](const auto& note) { return note.text == f.cause->sentence; }));
  const std::string line = live::plain_line(view);
  CHECK(line.find("positive rail flat, more than 20 dB over. Clipped: or a square") !=
        std::string::npos);
  CHECK(line.find("33.64") == std::string::npos);
}

TEST_CASE("watch page: the pair of the channel that the keys are for, as on the screen") {
  WatchView view = view_of(5);
  view.focus = 2;
  page::PageState state = page_state(view, false);
  REQUIRE(state.meters.size() == 2);
  CHECK(state.meters[0].name == "channel 3");
  CHECK(state.meters[0].in_focus);
  CHECK(state.meters[1].name == "channel 4");
  CHECK_FALSE(state.meters[1].in_focus);
  view.focus = 4;  // the last of an odd number, with its neighbour
  state = page_state(view, false);
  CHECK(state.meters[0].name == "channel 4");
  CHECK(state.meters[1].in_focus);
  CHECK(page_state(view_of(0), false).meters.empty());
}

TEST_CASE("watch page: every button is a key that a watch knows, and none quits it") {
  WatchView view = view_of(2);
  for (const bool knobs : {false, true}) {
    const auto state = page_state(view, knobs);
    for (const page::Button& button : state.buttons) CHECK(live::key_of_button(button.key));
    CHECK_FALSE(offers(state, "q"));
    CHECK(offers(state, "h"));
    CHECK(offers(state, "n"));
    CHECK(offers(state, "up") == knobs);
  }
  CHECK_FALSE(offers(page_state(view_of(1), false), "n"));
  view.prompt = "target in volts: ";
  const auto asking = page_state(view, true);
  REQUIRE(asking.question);
  CHECK(asking.question->figures);
  CHECK(asking.buttons.size() == 1);
  CHECK(offers(asking, "escape"));
  CHECK_FALSE(live::key_of_button(""));
  CHECK_FALSE(live::key_of_button("hh"));
  CHECK(live::key_of_button("left") == KEY_LEFT);
  CHECK(live::key_of_button("h") == 'h');
}

TEST_CASE("watch page: held, ended and lost samples are said, and figures that rest are not old") {
  WatchView view = view_of(1);
  CHECK_FALSE(page_state(view, false).still);
  CHECK(page_state(view, false).flags.empty());
  view.held = true;
  view.places_with_losses = 3;
  const auto state = page_state(view, false);
  CHECK(state.still);
  REQUIRE(state.flags.size() == 2);
  CHECK(state.flags[0].text == "SAMPLES LOST: 3");
  CHECK(state.flags[1].text == "HELD");
  CHECK(std::any_of(state.buttons.begin(), state.buttons.end(),
                    [](const auto& button) { return button.key == "h" && button.down; }));
}

}  // namespace
