// SPDX-License-Identifier: MIT
// The recording chain of the rig: its own aliases, its level, its filters and its converter.
#include <doctest/doctest.h>

#include <algorithm>

#include "rig/description.hpp"
#include "rig_support.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;

namespace {

constexpr std::size_t window = 32768;
constexpr Hertz rate{48000.0};

rig::Play at_head_unit() {
  rig::Play play;
  play.volume = {{Seconds(0.0), 40}};
  return play;
}

/// A steady stretch of `window` samples of a tone at a multiple of rate/window, recorded at the
/// head unit.
std::vector<double> steady(const rig::Rig& rig, std::size_t multiple, double peak,
                           const rig::Play& play = at_head_unit(), Hertz track_rate = rate) {
  const Hertz frequency = rate * (static_cast<double>(multiple) / static_cast<double>(window));
  const auto all =
      test::channel_of(record(rig, play, test::sine(track_rate, frequency, peak, Seconds(1.6))), 0);
  const auto first = all.begin() + 38400;
  return {first, first + window};
}

/// The strongest component below 20 kHz that is no multiple of the tone, re the tone.
double worst_alias_db(const std::vector<double>& samples, std::size_t multiple) {
  const auto lines = test::spectrum(samples);
  double worst = 0.0;
  const std::size_t top = window * 20 / 48;
  for (std::size_t k = 1; k < top; ++k) {
    if (k % multiple != 0) worst = std::max(worst, std::abs(lines[k]));
  }
  return 20.0 * std::log10(worst / std::abs(lines[multiple]));
}

}  // namespace

TEST_CASE("rig: a 1 kHz tone 3 dB over a hard rail has aliases below -130 dB") {
  // Full scale is 14.14 V peak, the rail is 10 V.
  const double db = worst_alias_db(steady(test::faultless_rig(), 683, 1.0), 683);
  MESSAGE("1 kHz, 3 dB over: ", db);
  CHECK(db < -130.0);
}

TEST_CASE("rig: a 5 kHz tone 3 dB over a hard rail has aliases below -100 dB") {
  const double db = worst_alias_db(steady(test::faultless_rig(), 3413, 1.0), 3413);
  MESSAGE("5 kHz, 3 dB over: ", db);
  CHECK(db < -100.0);
}

TEST_CASE("rig: a clean tone stays clean below -150 dB, at the track's rate and at another") {
  for (const double track : {48000.0, 44100.0}) {
    const auto samples = steady(test::faultless_rig(), 683, 0.5, at_head_unit(), Hertz(track));
    const auto lines = test::spectrum(samples);
    double worst = 0.0;
    for (std::size_t k = 1; k < lines.size(); ++k) {
      if (k != 683) worst = std::max(worst, std::abs(lines[k]));
    }
    const double db = 20.0 * std::log10(worst / std::abs(lines[683]));
    MESSAGE(track, " Hz track: ", db);
    CHECK(db < -150.0);
  }
}

TEST_CASE("rig: an unclipped tone arrives at volts x tap / full scale") {
  // 0.5 of full scale at 10 V RMS: 7.07 V peak, tapped 1:40.
  const auto samples = steady(test::faultless_rig(), 683, 0.5);
  CHECK(test::within_db(std::abs(test::spectrum(samples)[683]), 0.5 * 10.0 * std::sqrt(2.0) / 40.0,
                        0.001));
}

TEST_CASE("rig: two coupling capacitors take what their corners say") {
  rig::Rig rig = test::faultless_rig();
  const auto flat = test::spectrum(steady(rig, 34, 0.5));
  rig.tap.coupling = Hertz(8.0);
  rig.sound_card.coupling = Hertz(15.0);
  const auto coupled = test::spectrum(steady(rig, 34, 0.5));
  const double f = 34.0 * 48000.0 / static_cast<double>(window);
  const double expected = 1.0 / std::sqrt((1.0 + 64.0 / (f * f)) * (1.0 + 225.0 / (f * f)));
  CHECK(test::within_db(std::abs(coupled[34]) / std::abs(flat[34]), expected, 0.0005));
}

TEST_CASE("rig: the card's clock error shifts the frequency by as many parts per million") {
  rig::Rig rig = test::faultless_rig();
  rig.sound_card.clock_ppm = 100.0;
  const auto all = test::channel_of(
      record(rig, at_head_unit(), test::sine(rate, Hertz(1000.0), 0.5, Seconds(2.0))), 0);
  // Phase between two stretches one second apart; a faster clock sees a lower frequency.
  const auto phase = [&](std::size_t start) {
    std::complex<double> sum = 0.0;
    for (std::size_t n = 0; n < 4800; ++n) {
      sum +=
          all[start + n] * std::polar(1.0, -2.0 * std::numbers::pi * static_cast<double>(n) / 48.0);
    }
    return std::arg(sum);
  };
  const double turned = (phase(72000) - phase(24000)) / (2.0 * std::numbers::pi);
  CHECK(test::within_abs(turned, -0.1, 1e-4));  // 1000 Hz · 100 ppm · 1 s
}

TEST_CASE("rig: the card's noise and its dithered quantisation have the stated level") {
  rig::Rig rig = test::faultless_rig();
  rig.sound_card.noise = Dbfs(-80.0);
  const auto rms_of = [&] {
    const auto all = test::channel_of(
        record(rig, at_head_unit(), test::sine(rate, Hertz(1000.0), 0.0, Seconds(1.0))), 0);
    double sum = 0.0;
    for (const double x : all) sum += x * x;
    return std::sqrt(sum / static_cast<double>(all.size()));
  };
  // White over half the rate, stated over 19980 Hz of it; 0 dBFS is an RMS of 1/√2.
  CHECK(test::within_db(rms_of(), 1e-4 / std::sqrt(2.0) * std::sqrt(24000.0 / 19980.0), 0.1));
  rig.sound_card.noise = Dbfs(-200.0);
  rig.sound_card.bits = 16;
  rig.sound_card.dither = true;
  // q²/12 of rounding and q²/6 of triangular dither: q²/4.
  CHECK(test::within_db(rms_of(), std::ldexp(1.0, -15) / 2.0, 0.05));
}

TEST_CASE("rig: the converter stops at its highest and lowest code") {
  rig::Rig rig = test::faultless_rig();
  rig.tap.nominal_attenuation = 2.0;
  rig.sound_card.bits = 16;
  const auto samples = steady(rig, 683, 0.5);
  CHECK(*std::max_element(samples.begin(), samples.end()) == 1.0 - std::ldexp(1.0, -15));
  CHECK(*std::min_element(samples.begin(), samples.end()) == -1.0);
}

TEST_CASE(
    "rig: a recording is as long as the track and the idling, and does not depend on block sizes") {
  const rig::Rig rig = test::faultless_rig();
  const auto take = [&](std::size_t block) {
    return test::channel_of(
        record(rig, at_head_unit(), test::sine(rate, Hertz(1000.0), 0.3, Seconds(0.5))), 1, block);
  };
  const auto one = take(1000);
  CHECK(one.size() == 48000);
  CHECK(one == take(77));
  CHECK(one == take(48001));
}

TEST_CASE("rig: the recording is aligned with the track") {
  const auto all = test::channel_of(record(test::faultless_rig(), at_head_unit(),
                                           test::sine(rate, Hertz(100.0), 0.5, Seconds(0.5))),
                                    0);
  // 0.25 s of idling, then a sine that crosses zero upwards every 480 samples.
  CHECK(std::abs(all[12000 + 4800]) < 0.01 * 0.177);
  CHECK(test::within_abs(all[12000 + 4800 + 120], 0.17678, 1e-4));
}

TEST_CASE("rig: a tap that would ground a bridge-tied output is refused") {
  rig::Rig rig = test::faultless_rig();
  rig.tap.bridge_tied = false;
  CHECK_THROWS_WITH_AS(
      (void)record(rig, at_head_unit(), test::sine(rate, Hertz(1000.0), 0.5, Seconds(0.5))),
      doctest::Contains("ground one side of a bridge-tied output"), Error);
}

namespace {

// A second and a half of a tone at a fifth of full scale, as the card records it.
std::vector<double> recorded_by(const rig::SoundCard& card) {
  rig::Rig rig = test::faultless_rig();
  rig.sound_card = card;
  return test::channel_of(
      record(rig, at_head_unit(), test::sine(rate, Hertz(997.0), 0.5657, Seconds(1.5))), 0);
}

// Highest absolute value in each 10 ms.
std::vector<double> peaks_of(const std::vector<double>& samples) {
  constexpr std::size_t length = 480;
  std::vector<double> peaks;
  for (std::size_t first = 0; first + length <= samples.size(); first += length) {
    double peak = 0.0;
    for (std::size_t n = 0; n < length; ++n) peak = std::max(peak, std::abs(samples[first + n]));
    peaks.push_back(peak);
  }
  return peaks;
}

}  // namespace

TEST_CASE("rig: gaps are silence of the stated length as often as stated, and nothing else") {
  rig::SoundCard card = test::faultless_rig().sound_card;
  const auto whole = recorded_by(card);
  card.gaps = {Seconds(0.4), Seconds(0.01)};
  const auto broken = recorded_by(card);
  REQUIRE(broken.size() == whole.size());
  for (std::size_t n = 0; n < whole.size(); ++n) {
    const bool gap = n >= 19200 && n % 19200 < 480;  // 0.4 s and 10 ms at 48 kHz
    if (broken[n] != (gap ? 0.0 : whole[n])) FAIL("sample " << n);
  }
}

TEST_CASE("rig: missing samples are left out, and what follows is that much earlier") {
  rig::SoundCard card = test::faultless_rig().sound_card;
  const auto whole = recorded_by(card);
  card.missing = {Seconds(0.4), Seconds(0.01)};
  const auto short_one = recorded_by(card);
  std::vector<double> left;
  for (std::size_t n = 0; n < whole.size(); ++n)
    if (n < 19200 || n % 19200 >= 480) left.push_back(whole[n]);  // 0.4 s and 10 ms at 48 kHz
  CHECK(short_one.size() < whole.size());
  CHECK(short_one == left);
}

TEST_CASE("rig: level control lets the level rise as fast as stated, and takes it back") {
  rig::SoundCard card = test::faultless_rig().sound_card;
  // Peak of the tone −14 dBFS; limit −20 dBFS, 3 dB of hysteresis, 12 dB/s upwards.
  card.level_control = rig::LevelControl{Dbfs(-20.0), 12.0, Decibels(3.0), Decibels(20.0)};
  const auto peaks = peaks_of(recorded_by(card));
  // The tone begins at 0.25 s; half a second later the control has settled.
  const auto settled = std::vector(peaks.begin() + 75, peaks.begin() + 170);
  const double highest = *std::max_element(settled.begin(), settled.end());
  const double lowest = *std::min_element(settled.begin(), settled.end());
  CHECK(test::within_db(highest, 0.1, 0.3));
  CHECK(test::within_db(lowest, 0.1 / std::pow(10.0, 3.0 / 20.0), 0.3));
  int rising = 0;
  for (std::size_t i = 1; i < settled.size(); ++i) {
    // 12 dB/s for 10 ms; the peak of 997 Hz in a window of 10 ms wanders by 0.005 dB at most.
    const double step = settled[i] / settled[i - 1];
    if (test::within_db(step, std::pow(10.0, 0.12 / 20.0), 0.03)) ++rising;
  }
  CHECK(rising > 60);
}

TEST_CASE("rig: level control takes back no more than its range") {
  rig::SoundCard card = test::faultless_rig().sound_card;
  const auto whole = peaks_of(recorded_by(card));
  card.level_control = rig::LevelControl{Dbfs(-40.0), 12.0, Decibels(3.0), Decibels(6.0)};
  const auto kept = peaks_of(recorded_by(card));
  CHECK(test::within_db(kept[120] / whole[120], std::pow(10.0, -6.0 / 20.0), 0.05));
}
