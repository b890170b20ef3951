// SPDX-License-Identifier: MIT
// What a reading is worth, against worked examples that meter makers print.

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <string>

#include <doctest/doctest.h>

#include "electric/meter.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;
using namespace railtap::electric;
using test::within_abs;

namespace {

Meter meter(const char* text) {
  return parse_meter(text, "--meter");
}

std::string refusal(const char* text) {
  try {
    (void)meter(text);
  } catch (const Error& error) {
    CHECK(error.place() == "--meter");
    return error.what();
  }
  return "accepted";
}

}  // namespace

TEST_CASE("meter: ±(1 % + 3) on 120.0 V of a 600.0 V range is ±1.5 V (a maker's support note)") {
  const auto band = reading_band(meter("1%+3, 0.1V"), Volts(120.0), std::nullopt);
  CHECK(within_abs(band.uncertainty.value(), 1.5, 1e-12));
}

TEST_CASE("meter: ±(1 % + 2) on 100.0 V is 98.8 to 101.2 V (two pages on meter accuracy)") {
  const auto band = reading_band(meter("1%+2, 0.1V"), Volts(100.0), std::nullopt);
  CHECK(within_abs(band.low.value(), 98.8, 1e-12));
  CHECK(within_abs(band.high.value(), 101.2, 1e-12));
}

TEST_CASE("meter: limits of power follow the square of the limits of voltage") {
  struct Row {
    const char* meter;
    double reading_v, half_width_v, load_ohm, power_w, low_w, high_w;
  };
  // Derived by the same rule in another program; 44.7 V is 1 kW into 2 ohm.
  constexpr Row rows[] = {
      {"1.0%+3, 0.01V", 17.32, 0.2032, 4, 74.9956, 73.2462106, 76.7656346},
      {"0.8%+5, 0.01V", 14.14, 0.16312, 4, 49.9849, 48.8382936, 51.1448104},
      {"1.0%+3, 0.1V", 20.0, 0.5, 4, 100.0, 95.0625, 105.0625},
      {"1.2%+10, 0.1V", 44.7, 1.5364, 2, 999.045, 931.548182, 1068.90234},
      {"1.0%+3, 0.1V", 120.0, 1.5, 8, 1800.0, 1755.28125, 1845.28125},
  };
  for (const Row& row : rows) {
    CAPTURE(row.reading_v);
    const auto band = reading_band(meter(row.meter), Volts(row.reading_v), std::nullopt);
    CHECK(within_abs(band.uncertainty.value(), row.half_width_v, 1e-9));
    const auto power = power_band(band, Ohms(row.load_ohm));
    CHECK(within_abs(power.power.value(), row.power_w, 1e-9 * row.power_w));
    CHECK(within_abs(power.low.value(), row.low_w, 1e-8 * row.low_w));
    CHECK(within_abs(power.high.value(), row.high_w, 1e-8 * row.high_w));
  }
}

TEST_CASE(
    "meter: the size of the display gives the last digit on the range that shows the reading") {
  const auto digit = [](const char* text, double reading) {
    return reading_band(meter(text), Volts(reading), std::nullopt).last_digit.value();
  };
  CHECK(within_abs(digit("1%+3, 2000 counts", 14.14), 0.01, 1e-12));
  CHECK(within_abs(digit("1%+3, 2000 counts", 1.999), 0.001, 1e-12));
  CHECK(within_abs(digit("1%+3, 2000 counts", 2.0), 0.01, 1e-12));
  CHECK(within_abs(digit("1%+3, 6000 counts", 14.14), 0.01, 1e-12));
  CHECK(within_abs(digit("1%+3, 6000 counts", 61.0), 0.1, 1e-12));
  CHECK(within_abs(digit("1%+3, 2000 counts", 0.02), 0.0001, 1e-12));
  CHECK(within_abs(digit("1%+3, 2000 counts", 0.0), 0.0001, 1e-12));
}

TEST_CASE("meter: the last digit comes from the reading as typed where nothing else tells") {
  CHECK(last_digit("14.10V", "--reading") == Volts(0.01));
  CHECK(last_digit("14V", "--reading") == Volts(1.0));
  CHECK(last_digit("350mV", "--reading") == Volts(0.001));
  CHECK(last_digit(" 3.520 ", "--reading") == Volts(0.001));
  CHECK(last_digit("1.5e1", "--reading") == Volts(1.0));
  const auto band = reading_band(meter("1.2%+5"), Volts(14.1), last_digit("14.10V", "--reading"));
  CHECK(within_abs(band.uncertainty.value(), 0.012 * 14.1 + 0.05, 1e-12));
  CHECK_THROWS_AS((void)reading_band(meter("1.2%+5"), Volts(14.1), std::nullopt), Error);
  CHECK_NOTHROW((void)reading_band(meter("1.2%"), Volts(14.1), std::nullopt));
}

TEST_CASE("meter: a band wider than its reading ends at zero") {
  const auto band = reading_band(meter("1%+5, 0.1V"), Volts(0.2), std::nullopt);
  CHECK(band.low == Volts(0.0));
}

TEST_CASE("meter: a description is read in any order and in manuals' spellings") {
  const auto a = meter("1.2%+5, 0.01V, average, 400Hz");
  CHECK(a.of_reading == Percent(1.2));
  CHECK(a.counts == 5);
  CHECK(*a.resolution == Volts(0.01));
  CHECK(a.type == MeterType::average_responding);
  CHECK(*a.highest_frequency == Hertz(400.0));
  CHECK_FALSE(a.lowest_frequency.has_value());
  const auto b = meter("True-RMS, 45 Hz to 1 kHz, ±(0.8 % of reading + 3 digits), 6000 counts");
  CHECK(b.type == MeterType::true_rms);
  CHECK(*b.lowest_frequency == Hertz(45.0));
  CHECK(*b.highest_frequency == Hertz(1000.0));
  CHECK(b.counts == 3);
  CHECK(*b.display_counts == 6000);
  CHECK(*meter("1%, 40-400Hz").lowest_frequency == Hertz(40.0));
}

TEST_CASE("meter: a type that was not given is called assumed, and what else is taken is told") {
  CHECK(describe(meter("1%")) == "\u00b1(1 %), average-responding (assumed)");
  CHECK(describe(meter("1%, average")) == "\u00b1(1 %), average-responding");
  CHECK(assumptions(meter("1%")).size() == 3);
  CHECK(assumptions(meter("1%+3, average")).size() == 1);
  CHECK(assumptions(meter("1%+3, 0.01V, true-rms, 40-400Hz")).empty());
}

TEST_CASE("meter: the words describe() writes are read back") {
  for (const auto* text :
       {"1.2%+5, 0.01V, average, 400Hz", "0.8%+3, 6000 counts, true-rms, 45-1000Hz", "2%"}) {
    const auto first = meter(text);
    const auto again = meter(describe(first).c_str());
    CAPTURE(describe(first));
    CHECK(describe(first) == describe(again));
    CHECK(first.counts == again.counts);
    CHECK(first.resolution == again.resolution);
    CHECK(first.highest_frequency == again.highest_frequency);
  }
}

TEST_CASE("meter: a description that says nothing, or nonsense, is refused") {
  for (const auto* text : {"", "average", "1.2%+5, blue", "1.2%+-5", "1.2%5", "99%+5", "1%+5000",
                           "1.2%+5, 400-40Hz", "1.2%+5, 0V", "-1%+5", "1.2%+5, 50 counts", "1,2%+5",
                           "1.2%+5,,", "1.2%+5, countscounts", "%"}) {
    CAPTURE(text);
    CHECK(refusal(text) != "accepted");
  }
}

TEST_CASE("meter: a tone outside its band is refused with what to do instead") {
  const auto narrow = meter("1.2%+5, 40-400Hz");
  CHECK_NOTHROW(require_in_band(narrow, Hertz(50.0), "--tone-frequency"));
  CHECK_NOTHROW(require_in_band(narrow, Hertz(400.0), "--tone-frequency"));
  CHECK_NOTHROW(
      require_in_band(narrow, Hertz(400.04), "--tone-frequency"));  // 100 ppm of clock error
  CHECK_THROWS_AS(require_in_band(narrow, Hertz(401.0), "--tone-frequency"), Error);
  CHECK_NOTHROW(require_in_band(meter("1.2%+5"), Hertz(20000.0), "--tone-frequency"));
  CHECK_THROWS_AS(require_in_band(narrow, Hertz(30.0), "--tone-frequency"), Error);
  try {
    require_in_band(narrow, Hertz(1000.0), "--tone-frequency");
    FAIL("accepted");
  } catch (const Error& error) {
    CHECK(error.problem().find("ends at 400 Hz") != std::string::npos);
    CHECK(error.remedy().find("50 to 100 Hz") != std::string::npos);
  }
}

TEST_CASE(
    "meter: an average-responding meter reads a square 11.07 % high and a triangle 3.81 % low") {
  const auto average = meter("1%, average");
  // Peak 1: a square has RMS 1 and form factor 1, a triangle RMS 1/√3 and form factor 2/√3.
  const double square_reading = sine_form_factor * 1.0;
  CHECK(within_abs(square_reading, 1.110721, 1e-6));
  CHECK(within_abs(true_rms_from_reading(average, Volts(square_reading), 1.0).value(), 1.0, 1e-12));
  const double triangle_reading = sine_form_factor * 0.5;
  CHECK(within_abs(triangle_reading * std::sqrt(3.0), 0.961912, 1e-6));
  CHECK(within_abs(
      true_rms_from_reading(average, Volts(triangle_reading), 2.0 / std::sqrt(3.0)).value(),
      1.0 / std::sqrt(3.0), 1e-12));
  CHECK(true_rms_from_reading(meter("1%, true-rms"), Volts(3.0), 1.0) == Volts(3.0));
  CHECK_THROWS_AS((void)true_rms_from_reading(average, Volts(1.0), 0.9), Error);
}

// The clipped sine in closed form, against dense sampling and against figures stored elsewhere.

using namespace railtap;
using electric::hard_clip;
using test::within_abs;
using test::within_rel;

TEST_CASE("hard clip: mean square, mean and fundamental equal a sum over a million points") {
  constexpr int points = 1'000'000;
  for (const double overdrive : {0.05, 1.0, 6.0, 20.0}) {
    const auto clip = hard_clip(Decibels(overdrive));
    double square = 0.0, mean = 0.0, fundamental = 0.0;
    for (int i = 0; i < points; ++i) {
      const double s = std::sin(2.0 * std::numbers::pi * (i + 0.5) / points);
      const double y = std::clamp(s, -clip.clip_ratio, clip.clip_ratio);
      square += y * y;
      mean += std::abs(y);
      fundamental += 2.0 * y * s;
    }
    CAPTURE(overdrive);
    CHECK(within_abs(clip.mean_square, square / points, 1e-10));
    CHECK(within_abs(clip.mean_abs, mean / points, 1e-10));
    CHECK(within_abs(clip.fundamental, fundamental / points, 1e-10));
  }
}

TEST_CASE("hard clip: at c = 0.7 the fundamental is 0.8118795956") {
  CHECK(within_abs(hard_clip(Decibels(-20.0 * std::log10(0.7))).fundamental, 0.8118795956, 1e-10));
}

TEST_CASE("hard clip: distortion passes 1 % at 0.251261 dB and 10 % at 2.173141 dB") {
  CHECK(within_abs(hard_clip(Decibels(0.251261)).thd.value(), 1.0, 1e-5));
  CHECK(within_abs(hard_clip(Decibels(2.173141)).thd.value(), 10.0, 1e-5));
}

TEST_CASE("hard clip: 5 dB over gives 20.3 %, 10 dB over 32.2 %") {
  CHECK(within_abs(hard_clip(Decibels(5.0)).thd.value(), 20.31931, 1e-5));
  CHECK(within_abs(hard_clip(Decibels(10.0)).thd.value(), 32.16372, 1e-5));
}

TEST_CASE("hard clip: without overdrive it is a sine, with 200 dB a square of twice the power") {
  const auto sine = hard_clip(Decibels(0.0));
  CHECK(within_abs(sine.thd.value(), 0.0, 1e-5));
  CHECK(within_abs(sine.power_gain, 1.0, 1e-15));
  const auto square = hard_clip(Decibels(200.0));
  CHECK(within_abs(square.power_gain, 2.0, 1e-9));
  // THD of a square wave: √(π²/8 − 1).
  const double expected = 100.0 * std::sqrt(std::numbers::pi * std::numbers::pi / 8.0 - 1.0);
  CHECK(within_abs(square.thd.value(), expected, 1e-6));
}

TEST_CASE(
    "hard clip: the power at 10 % over that at 0.5 % is within 1 % of a real bridge amplifier's") {
  // Data sheet of a two-channel bridge amplifier: 24 W at 10 %, 19 W at 0.5 % (14.4 V, 4 ohm).
  const double ratio =
      hard_clip(Decibels(2.173141)).power_gain / hard_clip(Decibels(0.139248)).power_gain;
  CHECK(within_abs(ratio, 1.253108, 1e-5));
  CHECK(within_rel(ratio, 24.0 / 19.0, 0.01));
}

TEST_CASE("hard clip: an average-responding meter reads 0.763 % high at 1 dB and 1.933 % at 10 %") {
  const auto excess = [](double overdrive) {
    const auto clip = hard_clip(Decibels(overdrive));
    return electric::sine_form_factor * clip.mean_abs / std::sqrt(clip.mean_square) - 1.0;
  };
  CHECK(within_abs(excess(1.0), 0.007631, 1e-6));
  CHECK(within_abs(excess(2.173141), 0.01933, 1e-5));
  CHECK(within_abs(excess(0.251261), 0.00117, 1e-5));
}

TEST_CASE("hard clip: a negative overdrive is refused") {
  CHECK_THROWS_AS((void)hard_clip(Decibels(-0.1)), Error);
}
