// SPDX-License-Identifier: MIT
// Volts for full scales: the ratio, its limits of error, and the comparison with the divider.
#include "electric/calibration.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "electric/attenuator.hpp"
#include "electric/hard_clip.hpp"
#include "support/within.hpp"
#include "units/error.hpp"

using namespace railtap;
using namespace railtap::electric;
using test::within_abs;

namespace {

CalibrationTone tone(double rms_fs, double reading_v) {
  CalibrationTone result;
  result.rms_fs = rms_fs;
  result.reading = Volts(reading_v);
  return result;
}

}  // namespace

TEST_CASE(
    "calibration: a sine of half of full scale that reads 5 V makes full scale 14.142 V peak") {
  // A peak of 0.5 is an RMS of 0.35355; 5 V RMS is 7.0711 V peak; twice that is full scale.
  const auto found = calibrate(tone(0.5 / std::sqrt(2.0), 5.0));
  CHECK(within_abs(found.volts_per_full_scale.value(), 14.142136, 1e-6));
  CHECK(found.true_rms == Volts(5.0));
  CHECK_FALSE(found.uncertainty.has_value());
}

TEST_CASE("calibration: the limits of error are the meter's and half of the level's spread") {
  auto input = tone(0.3, 3.52);
  input.meter = parse_meter("1.2%+5, 400Hz", "--meter");
  input.typed_digit = Volts(0.01);
  const auto steady = calibrate(input);
  CHECK(within_abs(steady.uncertainty->value(), 1.2 + 100.0 * 0.05 / 3.52, 1e-9));
  input.level_spread = Decibels(0.1);
  const auto unsteady = calibrate(input);
  CHECK(within_abs((*unsteady.uncertainty - *steady.uncertainty).value(), 0.5773, 1e-3));
}

TEST_CASE("calibration: an average-responding meter's excess on a clipped tone is taken out") {
  const auto clip = hard_clip(Decibels(1.0));
  const double rms = std::sqrt(clip.mean_square);
  auto input = tone(0.25 * rms, sine_form_factor * 10.0 * clip.mean_abs);
  input.form_factor = rms / clip.mean_abs;
  input.meter = parse_meter("1%+3, 0.01V, average", "--meter");
  const auto found = calibrate(input);
  CHECK(within_abs(found.volts_per_full_scale.value(), 40.0, 1e-9));
  CHECK(within_abs(found.meter_correction.value(), -20.0 * std::log10(1.007631), 1e-5));
  input.meter->type = MeterType::true_rms;
  CHECK(within_abs(calibrate(input).volts_per_full_scale.value(), 40.0 * 1.007631, 1e-4));
}

TEST_CASE("calibration: a tone outside the meter's band is refused") {
  auto input = tone(0.3, 3.52);
  input.meter = parse_meter("1.2%+5, 0.01V, 400Hz", "--meter");
  input.frequency = Hertz(1000.0);
  CHECK_THROWS_AS((void)calibrate(input), Error);
  input.frequency = Hertz(50.0);
  CHECK_NOTHROW((void)calibrate(input));
}

TEST_CASE("calibration: no level, no reading and nonsense are refused") {
  CHECK_THROWS_AS((void)calibrate(tone(0.0, 3.0)), Error);
  CHECK_THROWS_AS((void)calibrate(tone(0.3, 0.0)), Error);
  CHECK_THROWS_AS((void)calibrate(tone(std::nan(""), 3.0)), Error);
}

TEST_CASE("calibration: the nominal divider agrees with a reading of its own voltages") {
  TapNeed need;
  need.max_voltage = Volts(14.83);
  need.input_full_scale = Volts(1.0);
  need.input_resistance = Ohms(10000.0);
  need.bridge_tied = true;
  const auto tap = evaluate(need, choose_parts(need));
  // 3.52 V at the terminals put 3.52·ratio into an input that 1 V RMS fills: RMS full scale is
  // 1/√2.
  const auto found = calibrate(tone(3.52 * tap.ratio / std::sqrt(2.0), 3.52));
  const auto same = compare_with_nominal(found, tap.full_scale_peak, Decibels(1.0));
  CHECK(within_abs(same.deviation.value(), 0.0, 1e-9));
  CHECK(same.plausible);
  // An input set 6 dB lower than thought.
  const auto off = compare_with_nominal(found, tap.full_scale_peak / 2.0, Decibels(1.0));
  CHECK(within_abs(off.deviation.value(), 6.0206, 1e-4));
  CHECK_FALSE(off.plausible);
}
