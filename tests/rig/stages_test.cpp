// SPDX-License-Identifier: MIT
// Head unit and amplifier of the rig: where they clip, sag, filter and hiss.

#include <algorithm>
#include <cmath>
#include <vector>

#include <doctest/doctest.h>

#include "rig/description.hpp"
#include "rig/output_stage.hpp"
#include "rig/player.hpp"
#include "rig_support.hpp"
#include "support/basics.hpp"

using namespace railtap;

namespace {

constexpr Hertz rate{48000.0};

rig::Play at_amplifier(int step = 40) {
  rig::Play play;
  play.point.at = rig::TapPoint::At::amplifier;
  play.volume = {{Seconds(0.0), step}};
  return play;
}

/// Volts at the terminals in the middle of a tone, at the high rate.
std::vector<double> volts(const rig::Rig& rig, const rig::Play& play, Hertz frequency, double peak,
                          Seconds length = Seconds(0.6)) {
  rig::Terminals terminals(rig, play, test::sine(rate, frequency, peak, length), rate, 0.0, 0);
  std::vector<std::vector<double>> blocks(static_cast<std::size_t>(terminals.channels()),
                                          std::vector<double>(4096));
  std::vector<double> all;
  while (terminals.read(blocks) == 4096) {
    all.insert(all.end(), blocks[0].begin(), blocks[0].end());
  }
  const auto middle = all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2);
  return {middle, middle + 15360 * 10};  // 0.2 s of 768 kHz
}

double peak_of(const std::vector<double>& samples) {
  return *std::max_element(samples.begin(), samples.end());
}

}  // namespace

TEST_CASE("rig stage: the mean over a step is that of the static curve, corner and knee") {
  const rig::Rails rails{2.0, 1.5, 0.3};
  // Against a fine Riemann sum of the curve, written here from its definition.
  const auto curve = [](double x, double rail) {
    const double start = rail * 0.7, end = rail * 1.3;
    if (x < start) return x;
    if (x > end) return rail;
    return x - (x - start) * (x - start) / (2.0 * (end - start));
  };
  for (const auto& [from, to] :
       {std::pair{-4.0, 4.0}, {1.0, 1.7}, {2.5, 3.0}, {-1.2, -1.1}, {1.3, 1.3}}) {
    double sum = 0.0;
    constexpr int parts = 100000;
    for (int k = 0; k < parts; ++k) {
      const double x = from + (to - from) * (k + 0.5) / parts;
      sum += x >= 0.0 ? curve(x, 2.0) : -curve(-x, 1.5);
    }
    CHECK(test::within_abs(rig::limited_mean(rails, from, to), sum / parts, 1e-8));
  }
}

TEST_CASE("rig: a tone just below the onset keeps its shape, one above is cut at the rail") {
  rig::Rig rig = test::faultless_rig();
  rig.amplifiers[0].controls[0].travel = 0.3;
  const rig::Amplifier& amplifier = rig.amplifiers[0];
  const Volts onset = clip_onset(rig, amplifier, {});
  CHECK(test::within_rel(onset.value(), 22.0 / std::sqrt(2.0), 1e-12));
  const double full = 10.0 * gain(amplifier, amplifier.controls[0]);  // volts RMS of full scale
  const auto below = volts(rig, at_amplifier(), Hertz(1000.0), 0.999 * onset.value() / full);
  // Two stages average neighbouring samples: each takes (pi·1000/768000)²/2 = 8.4e-6.
  CHECK(test::within_rel(peak_of(below), 0.999 * 22.0 * (1.0 - 1.67e-5), 1e-6));
  const auto above = volts(rig, at_amplifier(), Hertz(1000.0), 1.2 * onset.value() / full);
  CHECK(test::within_rel(peak_of(above), 22.0, 1e-12));
}

TEST_CASE("rig: rails follow the supply, unless they are regulated") {
  rig::Rig rig = test::faultless_rig();
  rig.supply.voltage = Volts(12.0);
  CHECK(
      test::within_rel(amplifier_rail(rig, rig.amplifiers[0]).value(), 22.0 * 12.0 / 14.4, 1e-12));
  CHECK(test::within_rel(head_unit_rail(rig).value(), 7.6, 1e-12));
  rig.amplifiers[0].regulated = true;
  CHECK(test::within_rel(amplifier_rail(rig, rig.amplifiers[0]).value(), 22.0, 1e-12));
}

TEST_CASE("rig: a loaded amplifier sags to the predicted onset") {
  rig::Rig rig = test::faultless_rig();
  rig::Amplifier& amplifier = rig.amplifiers[0];
  amplifier.controls[0].travel = 0.3;
  amplifier.output.sag_resistance = Ohms(0.3);
  amplifier.output.output_resistance = Ohms(0.1);
  rig.supply.feed_resistance = Ohms(0.01);
  rig::Play play = at_amplifier();
  play.speakers_connected = true;
  const Volts onset = clip_onset(rig, amplifier, Ohms(4.0));
  // By hand: sag 0.3 + 0.01·(22/14.4)²·2/0.85 = 0.35492 ohm; peak 22/(1 + (2/π)·0.35492/4.1)·4/4.1.
  CHECK(test::within_rel(onset.value() * std::sqrt(2.0), 20.3424, 1e-5));
  const double full = 10.0 * gain(amplifier, amplifier.controls[0]) * 4.0 / 4.1;
  const auto straight = volts(rig, play, Hertz(1000.0), 0.99 * onset.value() / full);
  CHECK(test::within_rel(peak_of(straight), 0.99 * onset.value() * std::sqrt(2.0), 1e-4));
  // A little above: clipped, and the rail has fallen a little further.
  const auto cut = volts(rig, play, Hertz(1000.0), 1.02 * onset.value() / full);
  CHECK(peak_of(cut) < 1.001 * onset.value() * std::sqrt(2.0));
  CHECK(peak_of(cut) > 0.98 * onset.value() * std::sqrt(2.0));
}

TEST_CASE(
    "rig: the gain control goes evenly in decibels from the highest sensitivity voltage to the "
    "lowest") {
  rig::Rig rig = test::faultless_rig();
  rig::Amplifier& amplifier = rig.amplifiers[0];
  const double rated = std::sqrt(200.0);
  CHECK(test::within_rel(gain(amplifier, amplifier.controls[0]), rated / 12.0, 1e-12));
  amplifier.controls[0].travel = 0.5;
  CHECK(test::within_rel(gain(amplifier, amplifier.controls[0]), rated / std::sqrt(12.0), 1e-12));
  amplifier.controls[0].travel = 1.0;
  CHECK(test::within_rel(gain(amplifier, amplifier.controls[0]), rated / 1.0, 1e-12));
}

TEST_CASE(
    "rig: the volume control has its steps, and the highest clean one is where the rail says") {
  rig::Rig rig = test::faultless_rig();
  CHECK(test::within_db(volume_gain(rig.head_unit, 30), std::pow(10.0, -15.0 / 20.0), 1e-9));
  CHECK(volume_gain(rig.head_unit, 0) == 0.0);
  // 10 V RMS at step 40, rail 7.071 V RMS: 3.01 dB down is step 37.99, so 37.
  CHECK(highest_clean_step(rig, Dbfs(0.0)) == 37);
  CHECK(highest_clean_step(rig, Dbfs(-3.02)) == 40);
}

TEST_CASE("rig: a switched-in filter is 3 dB down at its corner and falls as its order says") {
  rig::Rig rig = test::faultless_rig();
  const auto level = [&](double hz) {
    return 20.0 * std::log10(test::amplitude_at(volts(rig, at_amplifier(), Hertz(hz), 0.1),
                                                hz / 768000.0));
  };
  const double flat = level(1000.0);
  rig::Control& control = rig.amplifiers[0].controls[0];
  for (const int order : {1, 2, 4}) {
    control.low_pass = {Hertz(1000.0), order};
    CHECK(test::within_abs(level(1000.0) - flat, -3.0103, 0.002));
    // Butterworth: 10·log10(1 + (f/fc)^(2n)).
    CHECK(test::within_abs(level(4000.0) - flat, -10.0 * std::log10(1.0 + std::pow(4.0, 2 * order)),
                           0.01));
    control.low_pass = {};
    control.high_pass = {Hertz(100.0), order};
    CHECK(test::within_abs(level(100.0) - flat, -3.0103, 0.002));
    control.high_pass = {};
  }
}

TEST_CASE("rig: tone controls and loudness raise the ends of the band") {
  rig::Rig rig = test::faultless_rig();
  rig::Play play;
  play.volume = {{Seconds(0.0), 20}};
  const auto level = [&](double hz) {
    return 20.0 * std::log10(test::amplitude_at(volts(rig, play, Hertz(hz), 0.5), hz / 768000.0));
  };
  const double flat = level(20.0);
  rig.head_unit.tone.bass = Decibels(6.0);
  // A shelf of one pole at 100 Hz: |1 + (g − 1)/(1 + j·0.2)| at 20 Hz.
  const double g = std::pow(10.0, 6.0 / 20.0);
  const auto shelf = std::abs(1.0 + (g - 1.0) / std::complex(1.0, 0.2));
  CHECK(test::within_abs(level(20.0) - flat, 20.0 * std::log10(shelf), 0.01));
  rig.head_unit.tone = {};
  rig.head_unit.tone.loudness = true;
  CHECK(level(20.0) - flat > 4.0);  // half of 10 dB at half the steps
}

TEST_CASE("rig: hiss has the stated level between 20 Hz and 20 kHz") {
  rig::Rig rig = test::faultless_rig();
  rig.amplifiers[0].output.hiss = Volts(0.01);
  const auto all = test::channel_of(
      record(rig, at_amplifier(0), test::sine(rate, Hertz(1000.0), 0.0, Seconds(1.2))), 0);
  const auto lines = test::spectrum(std::span(all).subspan(20000, 32768));
  double energy = 0.0;
  for (std::size_t k = 14; k < 13654; ++k) energy += std::norm(lines[k]) / 2.0;
  CHECK(test::within_db(std::sqrt(energy) * 40.0, 0.01, 0.15));
}

TEST_CASE("rig: crossed wires invert, an averaging input halves one side alone") {
  rig::Rig rig = test::faultless_rig();
  const double plain = volts(rig, at_amplifier(), Hertz(50.0), 0.3)[1000];
  rig.amplifiers[0].controls[0].inputs[0] = {false, -1.0, 0.0};
  CHECK(test::within_rel(volts(rig, at_amplifier(), Hertz(50.0), 0.3)[1000], -plain, 1e-9));
  rig.amplifiers[0].controls[0].inputs[0] = {false, 0.5, 0.0};
  CHECK(test::within_rel(volts(rig, at_amplifier(), Hertz(50.0), 0.3)[1000], plain / 2.0, 1e-9));
}

TEST_CASE("rig: asymmetry cuts the negative side first") {
  rig::Rig rig = test::faultless_rig();
  rig.amplifiers[0].controls[0].travel = 0.3;
  rig.amplifiers[0].output.asymmetry = Percent(5.0);
  auto cut = volts(rig, at_amplifier(), Hertz(1000.0), 1.0);
  CHECK(test::within_rel(peak_of(cut), 22.0, 1e-9));
  CHECK(test::within_rel(*std::min_element(cut.begin(), cut.end()), -22.0 * 0.95, 1e-9));
}

TEST_CASE("rig: a limiter holds the peaks near its threshold without flat tops") {
  rig::Rig rig = test::faultless_rig();
  rig.amplifiers[0].controls[0].travel = 0.3;
  rig.amplifiers[0].output.limiter = rig::Limiter{Volts(15.0), Seconds(0.0005), Seconds(0.3)};
  const auto held = volts(rig, at_amplifier(), Hertz(1000.0), 0.6);
  CHECK(test::within_rel(peak_of(held), 15.0, 0.05));
  const double third = test::amplitude_at(held, 3000.0 / 768000.0);
  CHECK(third < 0.01 * test::amplitude_at(held, 1000.0 / 768000.0));
}

TEST_CASE("rig: a protection mutes for good, at once or after its time over the threshold") {
  constexpr double hz = 100.0;
  const auto muted_at_s = [&](double threshold, double hold_s) {
    rig::OutputStage stage;
    stage.protection = rig::Protection{Volts(threshold), Seconds(hold_s)};
    auto state = rig::make_stage(stage, Volts(100.0), Ohms(0.0), {}, rate);
    // 10 V, for 0.1 s of it nothing; then nothing, and 10 V again.
    std::vector<double> volts;
    for (int n = 0; n < 48000; ++n) {
      const double t = n / rate.value();
      const bool plays = t < 0.3 || (t >= 0.4 && t < 0.8);
      volts.push_back(plays ? 10.0 * std::sin(2.0 * std::numbers::pi * hz * t) : 0.0);
    }
    rig::process(state, volts);
    double last = 0.0;
    for (std::size_t n = 0; n < volts.size(); ++n) {
      if (std::abs(volts[n]) > 1.0) last = static_cast<double>(n) / rate.value();
    }
    return last;
  };
  CHECK(muted_at_s(11.0, 0.0) > 0.79);                           // never
  CHECK(test::within_abs(muted_at_s(9.9, 0.0), 0.0025, 0.001));  // the first peak
  CHECK(test::within_abs(muted_at_s(9.9, 0.1), 0.1, 0.011));     // half a cycle later at most
  CHECK(test::within_abs(muted_at_s(9.9, 0.35), 0.75, 0.011));   // the pause starts it anew
  CHECK(muted_at_s(9.9, 0.5) > 0.79);
}

TEST_CASE("rig: a slew limit turns a fast sine into a triangle of that slope") {
  rig::Rig rig = test::faultless_rig();
  rig.amplifiers[0].controls[0].travel = 0.3;
  rig.amplifiers[0].output.slew_v_per_us = 0.2;
  const auto samples = volts(rig, at_amplifier(), Hertz(10000.0), 0.5);
  double steepest = 0.0;
  for (std::size_t n = 1; n < samples.size(); ++n) {
    steepest = std::max(steepest, std::abs(samples[n] - samples[n - 1]));
  }
  CHECK(test::within_rel(steepest * 0.768, 0.2, 1e-6));         // samples per microsecond
  CHECK(test::within_rel(peak_of(samples), 0.2 * 25.0, 0.02));  // a quarter of the period
}

TEST_CASE("rig: crossover distortion takes its band out around zero") {
  rig::Rig rig = test::faultless_rig();
  const double clean = peak_of(volts(rig, at_amplifier(), Hertz(50.0), 0.3));
  rig.amplifiers[0].output.crossover = Volts(0.1);
  const auto notched = volts(rig, at_amplifier(), Hertz(50.0), 0.3);
  CHECK(test::within_abs(peak_of(notched), clean - 0.1, 1e-4));
  // The dead time of a sine A around zero: 2·asin(d/A)/π of the time.
  const auto dead =
      std::count_if(notched.begin(), notched.end(), [](double x) { return std::abs(x) < 1e-9; });
  CHECK(test::within_rel(static_cast<double>(dead) / static_cast<double>(notched.size()),
                         2.0 * std::asin(0.1 / clean) / std::numbers::pi, 0.05));
}

TEST_CASE("rig: an input stage that clips does so whatever the gain control's position") {
  rig::Rig rig = test::faultless_rig();
  rig.amplifiers[0].input_limit = Volts(5.0);
  const double expected = 5.0 * gain(rig.amplifiers[0], rig.amplifiers[0].controls[0]);
  CHECK(test::within_rel(peak_of(volts(rig, at_amplifier(), Hertz(1000.0), 0.6)), expected, 1e-9));
}

// The hand on a control of the virtual rig.

using namespace railtap;
using namespace railtap::rig;
using namespace railtap::test;

namespace {

constexpr double samples_per_s = 48000.0;

std::vector<double> way(const HandSetting& setting, std::uint64_t seed, double wanted_db,
                        double seconds) {
  Hand hand(setting, seed, Hertz(samples_per_s), Decibels(-20.0));
  std::vector<double> gains(static_cast<std::size_t>(seconds * samples_per_s));
  hand.fill(gains, Decibels(wanted_db));
  for (double& gain : gains) gain = 20.0 * std::log10(gain);
  return gains;
}

// The steepest rise over 10 ms, dB/s.
double fastest(const std::vector<double>& level) {
  constexpr std::size_t reach = 480;
  double most = 0.0;
  for (std::size_t n = 0; n + reach < level.size(); ++n) {
    most = std::max(most, std::abs(level[n + reach] - level[n]) / 0.01);
  }
  return most;
}

// Seconds in which it hardly moves, on its way.
double resting(const std::vector<double>& level, double wanted_db) {
  constexpr std::size_t reach = 480;
  double seconds = 0.0;
  for (std::size_t n = 0; n + reach < level.size(); n += reach) {
    const bool there = std::abs(level[n] - wanted_db) < 0.1;
    if (!there && std::abs(level[n + reach] - level[n]) < 0.001) seconds += 0.01;
  }
  return seconds;
}

}  // namespace

TEST_CASE("hand: even, it goes with its speed and stays where it arrives") {
  HandSetting setting;
  setting.speed_db_per_s = 5.0;
  const auto level = way(setting, 1, -10.0, 3.0);
  CHECK(within_abs(level.back(), -10.0, 1e-6));
  CHECK(within_abs(fastest(level), 5.0, 0.05));
  CHECK(within_abs(level[static_cast<std::size_t>(1.0 * samples_per_s)], -15.1,
                   0.15));  // it has to start
  CHECK(within_abs(way(setting, 1, -26.0, 3.0).back(), -26.0, 1e-6));
}

TEST_CASE("hand: uneven, it stays between half and twice its speed; the seed decides the way") {
  HandSetting setting;
  setting.speed_db_per_s = 5.0;
  setting.unevenness = Percent(100.0);
  const auto level = way(setting, 1, 10.0, 4.0);
  CHECK(fastest(level) > 6.0);
  CHECK(fastest(level) <= 10.05);
  CHECK(level == way(setting, 1, 10.0, 4.0));
  CHECK(level != way(setting, 2, 10.0, 4.0));
}

TEST_CASE("hand: it rests on the way where it is told to") {
  HandSetting setting;
  setting.speed_db_per_s = 10.0;
  CHECK(resting(way(setting, 3, 0.0, 6.0), 0.0) < 0.03);
  setting.pause_every = Decibels(4.0);
  setting.pause = Seconds(0.5);
  const auto level = way(setting, 3, 0.0, 8.0);
  CHECK(resting(level, 0.0) > 0.5);
  CHECK(within_abs(level.back(), 0.0, 1e-6));
}
