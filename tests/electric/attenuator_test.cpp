// SPDX-License-Identifier: MIT
// The tap against worked pads, choices that must hold for every need, and preferred values.

#include <algorithm>
#include <cmath>

#include <doctest/doctest.h>

#include "electric/attenuator.hpp"
#include "electric/wire.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;
using namespace railtap::electric;
using test::within_abs;
using test::within_rel;

namespace {

TapNeed need(double max_v, double full_scale_v, bool bridge_tied,
             std::optional<double> input = 10000.0) {
  TapNeed result;
  result.max_voltage = Volts(max_v);
  result.input_full_scale = Volts(full_scale_v);
  result.bridge_tied = bridge_tied;
  if (input) result.input_resistance = Ohms(*input);
  return result;
}

bool has(const Tap& tap, TapFault fault) {
  return std::find(tap.faults.begin(), tap.faults.end(), fault) != tap.faults.end();
}

}  // namespace

TEST_CASE("attenuator: balanced pads equal the worked table") {
  struct Row {
    double series_each, shunt;
    std::optional<double> load;
    double db, db_unloaded, source, input;
  };
  const Row rows[] = {
      {4700, 1000, std::nullopt, -20.3406668, -20.3406668, 903.846154, 10400.0},
      {4700, 1000, 10000.0, -21.0922611, -20.3406668, 903.846154, 10309.0909},
      {4700, 1000, 47000.0, -20.5061173, -20.3406668, 903.846154, 10379.1667},
      {10000, 2200, 10000.0, -21.6491791, -20.0786059, 1981.98198, 21803.2787},
      {10000, 1000, 10000.0, -27.2345567, -26.4443859, 952.380952, 20909.0909},
      {10000, 1000, std::nullopt, -26.4443859, -26.4443859, 952.380952, 21000.0},
      {10000, 220, 10000.0, -39.4541527, -39.2671694, 217.60633, 20215.2642},
      {22000, 1000, 10000.0, -33.874539, -33.0642503, 977.777778, 44909.0909},
  };
  for (const Row& row : rows) {
    CAPTURE(row.series_each);
    CAPTURE(row.shunt);
    const auto tap =
        evaluate(need(10.0, 1.0, true, row.load), {Ohms(row.series_each), Ohms(row.shunt), {}, {}});
    CHECK(within_abs(tap.gain.value(), row.db, 1e-7));
    CHECK(within_abs(tap.gain_unloaded.value(), row.db_unloaded, 1e-7));
    CHECK(within_rel(tap.source_resistance.value(), row.source, 1e-8));
    CHECK(within_rel(tap.terminal_resistance.value(), row.input, 1e-8));
  }
}

TEST_CASE("attenuator: 40 V across 4.7k + 1k + 4.7k heats each leg by 69.5 mW") {
  const auto tap = evaluate(need(40.0, 4.0, true, std::nullopt), {Ohms(4700), Ohms(1000), {}, {}});
  CHECK(within_abs(tap.series_power.value(), 0.0695, 5e-5));
  const double total = 2.0 * tap.series_power.value() + tap.shunt_power.value();
  CHECK(within_abs(total, 0.154, 5e-4));
}

TEST_CASE("attenuator: two 1 uF and 20.9 kohm have their corner at 15.2 Hz") {
  auto wanted = need(10.0, 1.0, true);
  wanted.capacitor = Farads(1e-6);
  const auto tap = evaluate(wanted, with_capacitors(wanted, {Ohms(10000), Ohms(1000), {}, {}}));
  REQUIRE(tap.leg_corner.has_value());
  CHECK(within_abs(tap.leg_corner->value(), 15.2, 0.05));
  CHECK(has(tap, TapFault::corner_too_high));
}

TEST_CASE("attenuator: a 1 kohm pad of 27 dB has 13 uV of its own noise at the terminals") {
  const auto tap = evaluate(need(10.0, 1.0, true, std::nullopt), {Ohms(10000), Ohms(1000), {}, {}});
  // 1 kohm in 20 kHz is 0.5756 uV; 952 ohm is √0.952 of it, 26.44 dB higher at the terminals.
  CHECK(within_rel(tap.noise_at_input.value(), 0.5756e-6 * std::sqrt(0.95238), 1e-3));
  CHECK(within_rel(tap.noise_at_terminals.value(), 0.5617e-6 * 21.0, 2e-3));
}

TEST_CASE("attenuator: a single-ended pad has one leg and no capacitor") {
  const auto wanted = need(20.0, 1.0, false);
  const auto parts = choose_parts(wanted);
  CHECK_FALSE(parts.leg_capacitor.has_value());
  const auto tap = evaluate(wanted, parts);
  const double lower = parts.shunt.value() * 1e4 / (parts.shunt.value() + 1e4);
  CHECK(within_rel(tap.ratio, lower / (parts.series_each.value() + lower), 1e-12));
  CHECK_FALSE(tap.grounded_leg_change.has_value());
}

TEST_CASE("attenuator: what it chooses serves, over every usual need and series") {
  for (const auto series : {Series::e12, Series::e24, Series::e96}) {
    for (const double max_v : {0.5, 2.0, 10.2, 14.83, 23.66, 40.0, 90.0}) {
      for (const double full_scale_v : {0.01, 0.03, 0.3, 1.0, 2.0}) {
        for (const bool bridge_tied : {false, true}) {
          CAPTURE(max_v);
          CAPTURE(full_scale_v);
          CAPTURE(bridge_tied);
          auto wanted = need(max_v, full_scale_v, bridge_tied);
          wanted.series = series;
          const auto tap = evaluate(wanted, choose_parts(wanted));
          CHECK(tap.faults.empty());
          CHECK(tap.headroom.value() >= 3.0 - 1e-9);
          CHECK(tap.terminal_resistance >= Ohms(5000.0));
          CHECK(tap.ratio <= 0.5);
          // E12 steps are 1.9 dB at most, and pairs come closer, so no more than that is given
          // away. At least 5 kohm in the legs against 1 kohm make 15.6 dB the least loss, which
          // small voltages do not need.
          if (full_scale_v < max_v / 5.0) CHECK(tap.headroom.value() < 3.0 + 1.9);
        }
      }
    }
  }
}

TEST_CASE("attenuator: the input's resistance is part of the gain") {
  const auto open = evaluate(need(10.0, 1.0, true, std::nullopt), {Ohms(4700), Ohms(1000), {}, {}});
  const auto loaded = evaluate(need(10.0, 1.0, true, 10000.0), {Ohms(4700), Ohms(1000), {}, {}});
  CHECK(within_abs((open.gain - loaded.gain).value(), 0.7516, 1e-4));
}

TEST_CASE("attenuator: 1 % parts spread a 27 dB pad by about 0.16 dB each way") {
  const auto tap = evaluate(need(10.0, 1.0, true, std::nullopt), {Ohms(10000), Ohms(1000), {}, {}});
  // d(gain) = (1 − a)·2·1 % with a = 1/21: 1.905 %, 0.1639 dB in either direction (first order).
  CHECK(within_abs((tap.gain_highest - tap.gain).value(), 0.1639, 0.002));
  CHECK(within_abs((tap.gain - tap.gain_lowest).value(), 0.1639, 0.002));
}

TEST_CASE("attenuator: a grounded sleeve sees half the bridge over one leg") {
  // By node voltages: +V/2 over Rs = 10k into 1k to ground gives V/22, the pad alone V/21.
  const auto tap = evaluate(need(10.0, 1.0, true, std::nullopt), {Ohms(10000), Ohms(1000), {}, {}});
  CHECK(within_abs(tap.grounded_leg_change->value(), 20.0 * std::log10(21.0 / 22.0), 1e-9));
}

TEST_CASE("attenuator: a headset socket's power is blocked, the corner stays below 2 Hz") {
  auto wanted = need(15.0, 0.03, true, 2200.0);
  wanted.plug_in_power = Volts(2.5);
  const auto tap = evaluate(wanted, choose_parts(wanted));
  REQUIRE(tap.parts.output_capacitor.has_value());
  CHECK(tap.output_corner->value() <= 2.0);
  CHECK(tap.leg_corner->value() <= 2.0);
  CHECK(tap.source_resistance <= Ohms(220.0));
  // First order each: at 20 Hz two corners of 2 Hz take 2·10·log10(1.01) = 0.086 dB at most.
  CHECK(tap.loss_at_20_hz.value() <= 0.0865);
}

TEST_CASE("attenuator: parts that are too hot, too loud or too low are called so") {
  const auto hot = evaluate(need(40.0, 1.0, false), {Ohms(1000), Ohms(20), {}, {}});
  CHECK(has(hot, TapFault::too_hot));
  const auto loud = evaluate(need(40.0, 1.0, false), {Ohms(10000), Ohms(1000), {}, {}});
  CHECK(has(loud, TapFault::too_little_attenuation));
  const auto low = evaluate(need(4.0, 1.0, false), {Ohms(680), Ohms(100), {}, {}});
  CHECK(has(low, TapFault::loads_the_source));
}

TEST_CASE("attenuator: needs and parts out of range are refused") {
  CHECK_THROWS_AS((void)choose_parts(need(0.0, 1.0, false)), Error);
  CHECK_THROWS_AS((void)choose_parts(need(10.0, -1.0, false)), Error);
  CHECK_THROWS_AS((void)choose_parts(need(10.0, 1.0, false, 0.0)), Error);
  CHECK_THROWS_AS((void)choose_parts(need(10000.0, 1.0, false)),
                  Error);  // no quarter-watt part stands it
  CHECK_THROWS_AS((void)choose_parts(need(100.0, 1e-6, false)), Error);
  CHECK_THROWS_AS((void)evaluate(need(10.0, 1.0, false), {Ohms(0.0), Ohms(1000), {}, {}}), Error);
}

using namespace railtap;
using namespace railtap::electric;

TEST_CASE("preferred values: E96 is the published list, 1.00 to 9.76") {
  const std::vector<int> published{
      100, 102, 105, 107, 110, 113, 115, 118, 121, 124, 127, 130, 133, 137, 140, 143,
      147, 150, 154, 158, 162, 165, 169, 174, 178, 182, 187, 191, 196, 200, 205, 210,
      215, 221, 226, 232, 237, 243, 249, 255, 261, 267, 274, 280, 287, 294, 301, 309,
      316, 324, 332, 340, 348, 357, 365, 374, 383, 392, 402, 412, 422, 432, 442, 453,
      464, 475, 487, 499, 511, 523, 536, 549, 562, 576, 590, 604, 619, 634, 649, 665,
      681, 698, 715, 732, 750, 768, 787, 806, 825, 845, 866, 887, 909, 931, 953, 976};
  const auto values = decade(Series::e96);
  REQUIRE(values.size() == published.size());
  for (std::size_t i = 0; i < published.size(); ++i) {
    CHECK(test::within_abs(values[i], published[i] / 100.0, 1e-12));
  }
}

TEST_CASE("preferred values: E24 keeps 4.3 and holds E12, which has 12 values") {
  const auto e24 = decade(Series::e24);
  CHECK(e24.size() == 24);
  CHECK(std::find(e24.begin(), e24.end(), 4.3) != e24.end());
  CHECK(decade(Series::e12).size() == 12);
  for (const double value : decade(Series::e12)) {
    CHECK(std::find(e24.begin(), e24.end(), value) != e24.end());
  }
}

TEST_CASE("preferred values: a range holds both its ends, across decades") {
  const auto values = values_between(Series::e12, Ohms(820.0), Ohms(1500.0));
  REQUIRE(values.size() == 4);
  CHECK(values.front() == Ohms(820.0));
  CHECK(values[1] == Ohms(1000.0));
  CHECK(values.back() == Ohms(1500.0));
  CHECK(values_between(Series::e24, Ohms(1000.0), Ohms(9999.0)).size() == 24);
}

TEST_CASE("preferred values: the next capacitor is the same one if it exists, else the next") {
  CHECK(at_least(Series::e3, Farads(4.7e-6)) == Farads(4.7e-6));
  CHECK(at_least(Series::e3, Farads(4.8e-6)) == Farads(10e-6));
  CHECK(at_least(Series::e3, Farads(1.0e-6)) == Farads(1e-6));
}

TEST_CASE("preferred values: a series is named E12, E24 or E96") {
  CHECK(parse_series("e24", "--series") == Series::e24);
  CHECK(parse_series("E96", "--series") == Series::e96);
  CHECK_THROWS_AS((void)parse_series("E48", "--series"), Error);
  CHECK_THROWS_AS((void)parse_series("", "--series"), Error);
}

// Cables: how sizes are written, and between the sizes of the tables.

using namespace railtap;
using electric::parse_gauge;

TEST_CASE("wire: sizes are read as they are written") {
  CHECK(parse_gauge("16mm2", "x").area == SquareMillimetres(16.0));
  CHECK(!parse_gauge("16mm2", "x").awg);
  for (const char* text : {"6AWG", "6 awg", "AWG 6", "awg6"})
    CHECK(parse_gauge(text, "x").awg == 6);
  CHECK(parse_gauge("0AWG", "x").awg == 0);
  CHECK(parse_gauge("1/0 AWG", "x").awg == 0);
  CHECK(parse_gauge("4/0AWG", "x").awg == -3);
  for (const char* text : {"", "6", "AWG", "5/0AWG", "0/0AWG", "41AWG", "-1AWG", "6.5AWG", "16m",
                           "16cm", "0mm2", "-4mm2", "4000mm2", "mm2"}) {
    CAPTURE(text);
    CHECK_THROWS_AS((void)parse_gauge(text, "x"), Error);
  }
}

TEST_CASE("wire: described sizes are read back") {
  CHECK(electric::describe(parse_gauge("16mm2", "x")) == "16 mm2");
  CHECK(electric::describe(parse_gauge("6AWG", "x")) == "6 AWG (13.3 mm2)");
  CHECK(electric::describe(parse_gauge("2/0AWG", "x")) == "2/0 AWG (67.4 mm2)");
}

TEST_CASE("wire: a cable stands what the table says, and in between something in between") {
  const auto at = [](double mm2) { return electric::cable_ampacity({SquareMillimetres(mm2), {}}); };
  CHECK(at(0.75) == Amperes(10.0));
  CHECK(at(16.0) == Amperes(90.0));
  CHECK(at(150.0) == Amperes(380.0));
  CHECK(!at(0.5));
  CHECK(!at(200.0));
  // Half way in the logarithm: the geometric mean of both.
  const auto between = at(20.0);
  REQUIRE(between);
  CHECK(test::within_rel(between->value(), 103.923, 1e-5));
}
