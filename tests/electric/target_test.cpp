// SPDX-License-Identifier: MIT
// Target voltages against printed tables, and what readings say about them.
#include "electric/target.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <string>

#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;
using namespace railtap::electric;
using test::within_abs;

namespace {

Channel channel(double watts, double ohms) {
  Channel result;
  result.amplifier_power = Watts(watts);
  result.load = Ohms(ohms);
  return result;
}

Channel channel_reading(double watts, double ohms, double volts) {
  Channel result = channel(watts, ohms);
  result.reading = Volts(volts);
  result.typed_digit = Volts(0.01);
  return result;
}

}  // namespace

TEST_CASE("target: 50 W into 4 ohm is 14.142 V, as amplifier makers print it") {
  const auto target = target_for(channel(50.0, 4.0));
  CHECK(within_abs(target.volts.value(), 14.142, 0.0005));
  CHECK(within_abs(target.peak.value(), 20.0, 1e-12));
  CHECK(within_abs(target.current.value(), 3.5355339059, 1e-9));
}

TEST_CASE("target: the volts for a power agree with the table in use, to its last digit") {
  struct Row {
    double watts;
    std::array<double, 4> volts;  // into 1, 2, 4 and 8 ohm
  };
  constexpr Row rows[] = {
      {10, {3.162, 4.472, 6.325, 8.944}},      {15, {3.873, 5.477, 7.746, 10.954}},
      {18, {4.243, 6.000, 8.485, 12.000}},     {25, {5.000, 7.071, 10.000, 14.142}},
      {50, {7.071, 10.000, 14.142, 20.000}},   {75, {8.660, 12.247, 17.321, 24.495}},
      {100, {10.000, 14.142, 20.000, 28.284}}, {150, {12.247, 17.321, 24.495, 34.641}},
      {200, {14.142, 20.000, 28.284, 40.000}}, {300, {17.321, 24.495, 34.641, 48.990}},
      {500, {22.361, 31.623, 44.721, 63.246}}, {1000, {31.623, 44.721, 63.246, 89.443}},
  };
  constexpr std::array<double, 4> loads{1.0, 2.0, 4.0, 8.0};
  for (const Row& row : rows) {
    for (std::size_t i = 0; i < loads.size(); ++i) {
      CAPTURE(row.watts);
      CAPTURE(loads[i]);
      CHECK(within_abs(target_for(channel(row.watts, loads[i])).volts.value(), row.volts[i],
                       0.0005001));
    }
  }
}

TEST_CASE("target: 2.83 V is 1 W into 8 ohm and 2 W into 4 ohm") {
  CHECK(within_abs(target_for(channel(1.001, 8.0)).volts.value(), 2.83, 0.0005));
  CHECK(within_abs(target_for(channel(2.002, 4.0)).volts.value(), 2.83, 0.0005));
}

TEST_CASE("target: the lower of amplifier and speaker counts") {
  auto door = channel(55.0, 4.0);
  door.speaker_power = Watts(60.0);
  CHECK(target_for(door).limited_by == Limit::amplifier);
  CHECK(target_for(door).power == Watts(55.0));
  door.speaker_power = Watts(40.0);
  CHECK(target_for(door).limited_by == Limit::speaker);
  CHECK(within_abs(target_for(door).volts.value(), std::sqrt(160.0), 1e-12));
}

TEST_CASE("target: zero and negative ratings are refused") {
  CHECK_THROWS_AS((void)target_for(channel(0.0, 4.0)), Error);
  CHECK_THROWS_AS((void)target_for(channel(55.0, 0.0)), Error);
  CHECK_THROWS_AS((void)target_for(channel(55.0, -4.0)), Error);
  CHECK_THROWS_AS((void)target_for(channel(55.0, 4000.0)), Error);  // 4kohm typed for 4 ohm
  CHECK_THROWS_AS((void)target_for(channel(1e300, 4.0)), Error);
  auto door = channel(55.0, 4.0);
  door.speaker_power = Watts(0.0);
  CHECK_THROWS_AS((void)target_for(door), Error);
  CHECK_THROWS_AS((void)resolve(channel_reading(55.0, 4.0, 0.0), {}), Error);
}

TEST_CASE("reading: half the target voltage is raised by 6.02 dB, twice is lowered by it") {
  const auto low = resolve(channel_reading(100.0, 4.0, 10.0), {});
  CHECK(low.assessment->direction == Direction::raise);
  CHECK(within_abs(low.assessment->change.value(), 6.020600, 1e-6));
  CHECK(within_abs(low.assessment->power.value(), 25.0, 1e-12));
  CHECK(misses(low));
  const auto high = resolve(channel_reading(100.0, 4.0, 40.0), {});
  CHECK(high.assessment->direction == Direction::lower);
  CHECK(within_abs(high.assessment->change.value(), -6.020600, 1e-6));
}

TEST_CASE("reading: the tolerance is 0.25 dB, both ways, and can be changed") {
  // 20 V is the target; 0.25 dB is a factor of 1.029201.
  CHECK_FALSE(misses(resolve(channel_reading(100.0, 4.0, 20.0 / 1.0291), {})));
  CHECK(misses(resolve(channel_reading(100.0, 4.0, 20.0 / 1.0293), {})));
  CHECK_FALSE(misses(resolve(channel_reading(100.0, 4.0, 20.0 * 1.0291), {})));
  CHECK(misses(resolve(channel_reading(100.0, 4.0, 20.0 * 1.0293), {})));
  Conditions strict;
  strict.tolerance = Decibels(0.1);
  CHECK(misses(resolve(channel_reading(100.0, 4.0, 20.0 / 1.0291), strict)));
  CHECK_FALSE(misses(resolve(channel(100.0, 4.0), strict)));
}

TEST_CASE("reading: the meter's limits become limits of power and of the change") {
  Conditions conditions;
  conditions.meter = parse_meter("1%+3, 0.1V", "--meter");
  const auto result = resolve(channel_reading(100.0, 4.0, 20.0), conditions);
  REQUIRE(result.assessment->power_limits.has_value());
  CHECK(within_abs(result.assessment->power_limits->low.value(), 95.0625, 1e-9));
  CHECK(within_abs(result.assessment->power_limits->high.value(), 105.0625, 1e-9));
  CHECK(within_abs(result.assessment->change_low->value(), 20.0 * std::log10(20.0 / 20.5), 1e-9));
  CHECK(within_abs(result.assessment->change_high->value(), 20.0 * std::log10(20.0 / 19.5), 1e-9));
  CHECK(result.assessment->meter_decides);
  // 19.5 V of 20 V is 0.22 dB low; ±0.5 V may be 0.43 dB low or 0.00 dB.
  CHECK_FALSE(resolve(channel_reading(100.0, 4.0, 19.5), conditions).assessment->meter_decides);
}

TEST_CASE("reading: a tone outside the meter's band is refused") {
  Conditions conditions;
  conditions.meter = parse_meter("1.2%+5, 400Hz", "--meter");
  conditions.tone_frequency = Hertz(1000.0);
  CHECK_THROWS_AS((void)resolve(channel_reading(100.0, 4.0, 20.0), conditions), Error);
  conditions.tone_frequency = Hertz(50.0);
  CHECK_NOTHROW((void)resolve(channel_reading(100.0, 4.0, 20.0), conditions));
}

TEST_CASE("overlap: a -5 dBFS tone costs 20.3 % on full scale, or 5 dB of level") {
  const auto door = channel(50.0, 4.0);
  const auto overlap = overlap_for(target_for(door), door, Dbfs(-5.0));
  CHECK(overlap.overlap == Decibels(5.0));
  CHECK(overlap.full_scale_overdrive == Decibels(5.0));
  CHECK(within_abs(overlap.full_scale_thd.value(), 20.31931, 1e-5));
  CHECK(within_abs(overlap.full_scale_power.value(), 50.0 * 1.50577, 1e-3));
  CHECK(within_abs(overlap.without_overlap.value(), 14.1421356 * 0.5623413, 1e-6));
  CHECK(within_abs(overlap.tone_power.value(), 15.8113883, 1e-6));
}

TEST_CASE("overlap: a -10 dBFS tone costs 32.2 % on full scale") {
  const auto door = channel(50.0, 4.0);
  const auto overlap = overlap_for(target_for(door), door, Dbfs(-10.0));
  CHECK(within_abs(overlap.full_scale_thd.value(), 32.16372, 1e-5));
}

TEST_CASE("overlap: room above a speaker's limit takes up part of it") {
  auto door = channel(100.0, 4.0);
  door.speaker_power = Watts(50.0);  // the amplifier has 3.0103 dB more
  const auto overlap = overlap_for(target_for(door), door, Dbfs(-5.0));
  CHECK(within_abs(overlap.full_scale_overdrive.value(), 5.0 - 3.010300, 1e-6));
  const auto small = overlap_for(target_for(door), door, Dbfs(-2.0));
  CHECK(small.full_scale_overdrive == Decibels(0.0));
  CHECK(within_abs(small.full_scale_thd.value(), 0.0, 1e-5));
  CHECK(within_abs(small.full_scale_power.value(), 50.0 * 1.5848932, 1e-5));
}

TEST_CASE("overlap: a full-scale tone has none, and a level above full scale is refused") {
  const auto door = channel(50.0, 4.0);
  const auto overlap = overlap_for(target_for(door), door, Dbfs(0.0));
  CHECK(overlap.without_overlap == target_for(door).volts);
  CHECK(within_abs(overlap.full_scale_power.value(), 50.0, 1e-12));
  CHECK_THROWS_AS((void)overlap_for(target_for(door), door, Dbfs(1.0)), Error);
}

TEST_CASE("supply: 12.6 V instead of 14.4 V costs 1.16 dB and the target") {
  const auto door = channel(50.0, 4.0);
  Conditions conditions;
  conditions.supply = Volts(12.6);
  const auto low = resolve(door, conditions);
  CHECK(within_abs(low.supply->change.value(), -1.16, 0.005));
  CHECK_FALSE(low.supply->reaches_target);
  CHECK(low.target.limited_by == Limit::supply);
  CHECK(within_abs(low.target.volts.value(), 14.1421356 * 12.6 / 14.4, 1e-6));
  CHECK(within_abs(low.target.power.value(), 50.0 * 0.765625, 1e-9));  // (12.6/14.4)²
  CHECK(within_abs(low.supply->at_rated.value(), 14.1421356, 1e-6));
  auto spared = channel(100.0, 4.0);
  spared.speaker_power = Watts(50.0);
  CHECK(resolve(spared, conditions).supply->reaches_target);
  CHECK(resolve(spared, conditions).target.limited_by == Limit::speaker);
  conditions.regulated = true;
  CHECK(resolve(door, conditions).target.limited_by == Limit::amplifier);
  CHECK_FALSE(resolve(door, conditions).supply.has_value());
  conditions.regulated = false;
  conditions.supply = Volts(14.4);
  CHECK(resolve(door, conditions).supply->reaches_target);
  CHECK(resolve(door, conditions).target.limited_by == Limit::amplifier);
}

TEST_CASE("bounds: the lowest counts, measured clipping with 0.1 dB to spare") {
  auto door = channel(50.0, 4.0);
  door.bounds = {clipping_bound(Volts(13.0)),
                 source_bound(Volts(14.1421356), Volts(1.5), Volts(1.0))};
  const auto target = target_for(door);
  CHECK(target.limited_by == Limit::clipping);
  CHECK(within_abs(target.volts.value(), 13.0 * std::pow(10.0, -0.1 / 20.0), 1e-9));
  CHECK(rated_target(door).limited_by == Limit::amplifier);
  door.bounds.push_back(source_bound(Volts(14.1421356), Volts(0.5), Volts(1.0)));
  CHECK(target_for(door).limited_by == Limit::head_unit);
  CHECK(within_abs(target_for(door).volts.value(), 7.0710678, 1e-6));
  door.bounds.push_back({Limit::supply, Volts(0.0)});
  CHECK_THROWS_AS((void)target_for(door), Error);
  for (const Limit limit :
       {Limit::amplifier, Limit::speaker, Limit::supply, Limit::head_unit, Limit::clipping})
    CHECK(limit_named(name(limit)) == limit);
  CHECK_FALSE(limit_named("fuse").has_value());
}

TEST_CASE("overlap: there is no room above what the supply leaves") {
  auto door = channel(50.0, 4.0);
  door.bounds = {*supply_bound(Volts(14.1421356), Volts(12.6))};
  const auto overlap = overlap_for(target_for(door), door, Dbfs(-5.0));
  CHECK(within_abs(overlap.full_scale_overdrive.value(), 5.0, 1e-6));
  CHECK(within_abs(overlap.full_scale_power.value(), 50.0 * 0.765625 * 1.50577, 1e-3));
}

TEST_CASE("deviation: decibels above the target, and the ends of the error band") {
  CHECK(within_abs(deviation(Volts(10.0), Volts(11.0), {}).change.value(), 0.827854, 1e-6));
  CHECK_FALSE(deviation(Volts(10.0), Volts(11.0), {}).low);
  // 20·log10 of 1.1 · 0.95 and of 1.1 · 1.05.
  const auto band = deviation(Volts(10.0), Volts(11.0), Percent(5.0));
  CHECK(within_abs(band.low->value(), 0.382326, 1e-6));
  CHECK(within_abs(band.high->value(), 1.251640, 1e-6));
  CHECK(within_abs(deviation(Volts(1.0), Volts(1.0), Percent(400.0)).low->value(), -20.0, 1e-6));
}

TEST_CASE("reading: more than 12 dB away, a digit or the range may be wrong") {
  // 20 V is the target; 12 dB is a factor of 3.981.
  CHECK(resolve(channel_reading(100.0, 4.0, 20.0 / 3.98), {}).assessment->plausible);
  CHECK_FALSE(resolve(channel_reading(100.0, 4.0, 20.0 / 3.99), {}).assessment->plausible);
  CHECK_FALSE(resolve(channel_reading(100.0, 4.0, 200.0), {}).assessment->plausible);
}

TEST_CASE("channel: units may be written as on plates and meters") {
  const auto front = parse_channel("front:55Wrms:4ohm:60 W RMS:14.10VAC", "--channel");
  CHECK(front.amplifier_power == Watts(55.0));
  CHECK(*front.speaker_power == Watts(60.0));
  CHECK(*front.reading == Volts(14.1));
  CHECK(*front.typed_digit == Volts(0.01));
  CHECK_THROWS_WITH_AS((void)parse_channel("front:55W:4ohm:14.1VDC", "--channel"),
                       doctest::Contains("is DC"), Error);
}

TEST_CASE("channel: units tell the parts apart") {
  const auto front = parse_channel("front:55W:4ohm:60W:14.10V", "--channel");
  CHECK(front.name == "front");
  CHECK(front.amplifier_power == Watts(55.0));
  CHECK(*front.speaker_power == Watts(60.0));
  CHECK(front.load == Ohms(4.0));
  CHECK(*front.reading == Volts(14.1));
  CHECK(*front.typed_digit == Volts(0.01));
  const auto bass = parse_channel("bass:2Ω:280 W:bridged", "--channel");
  CHECK(bass.bridged);
  CHECK(bass.load == Ohms(2.0));
  CHECK(resolve(bass, {}).each_half_load == Ohms(1.0));
}

TEST_CASE("channel: incomplete, doubled or unclear parts are refused with the channel's name") {
  for (const auto* text : {"front", "front:55W", "front:4ohm", ":55W:4ohm", "front:55:4ohm",
                           "front:55W:4ohm:4ohm", "front:55W:4ohm:60W:70W", "front:0W:4ohm",
                           "front:55W:4ohm:", "front:55W:4ohm:1V:2V", "front:55W:4dB"}) {
    CAPTURE(text);
    CHECK_THROWS_AS((void)parse_channel(text, "--channel"), Error);
  }
  try {
    (void)parse_channel("front:55W", "--channel");
  } catch (const Error& error) {
    CHECK(error.place() == "--channel front");
  }
}
