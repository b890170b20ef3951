// SPDX-License-Identifier: MIT
// Volts for full scales: the ratio, its limits of error, the comparison with the divider; and what
// an interface adds by itself.
#include <doctest/doctest.h>

#include <cmath>

#include "electric/attenuator.hpp"
#include "electric/calibration.hpp"
#include "electric/meter.hpp"
#include "judge/loopback.hpp"
#include "support/basics.hpp"
#include "system/kept_files.hpp"
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

namespace railtap {
namespace {

// 0.01 % of which the noise, 90 dB below the tone, is 0.00316 %.
electric::SoundInterface example() {
  electric::SoundInterface interface;
  interface.device = "door input";
  interface.date = "2026-11-25T16:10:00Z";
  interface.rate = Hertz(48000.0);
  interface.response = {{Hertz(20.0), Decibels(-0.2), 3.0}, {Hertz(1000.0), Decibels(0.0), 0.0}};
  interface.thdn = Percent(0.01);
  interface.level = Dbfs(-5.0);
  interface.noise = Dbfs(-95.0);
  interface.noise_a = Dbfs(-97.0);
  interface.coupling_corner = Hertz(4.0);
  return interface;
}

judge::Findings findings(double thdn_percent, double level_dbfs, double noise_dbfs) {
  judge::Findings f;
  f.thdn = Percent(thdn_percent);
  f.level = Dbfs(level_dbfs);
  f.noise = Dbfs(noise_dbfs);
  f.noise_a = Dbfs(noise_dbfs - 2.0);
  return f;
}

TEST_CASE("interface: a corner takes 3.01 dB at itself, and 0.0432 dB a decade above") {
  // 10·log10(2), 10·log10(1.01): closed form.
  CHECK(test::within_abs(electric::coupling_loss(Hertz(4), Hertz(4)).value(), 3.0103, 1e-4));
  CHECK(test::within_abs(electric::coupling_loss(Hertz(4), Hertz(40)).value(), 0.0432, 1e-4));
  CHECK(electric::coupling_loss(Hertz(0), Hertz(40)).value() == 0.0);
  CHECK_THROWS_AS((void)electric::coupling_loss(Hertz(4), Hertz(0)), Error);
}

TEST_CASE("interface: its THD+N on a softer tone is its noise over that tone") {
  const auto interface = example();
  CHECK(test::within_rel(electric::own_thdn(interface, Dbfs(-5))->value(), 0.01, 1e-9));
  // At -55 dBFS the noise is 1 %; the distortion, √(0.01² − 0.00316²) %, vanishes beside it.
  CHECK(test::within_rel(electric::own_thdn(interface, Dbfs(-55))->value(), 1.0, 1e-4));
  CHECK_FALSE(electric::own_thdn(electric::SoundInterface{}, Dbfs(-5)));
}

TEST_CASE("interface: only figures more than a decibel above its own are claimed") {
  const auto interface = example();
  auto own = judge::not_above(findings(0.0111, -5.0, -94.5), interface);
  CHECK(own.thdn);
  CHECK(own.noise);
  CHECK(own.noise_a);
  own = judge::not_above(findings(0.0114, -5.0, -93.5), interface);
  CHECK_FALSE(own.thdn);
  CHECK_FALSE(own.noise);
  CHECK_FALSE(own.noise_a);
  CHECK(judge::not_above(findings(1.1, -55.0, -80.0), interface).thdn);
  own = judge::not_above(findings(0.0, -5.0, -140.0), electric::SoundInterface{});
  CHECK_FALSE((own.thdn || own.noise || own.noise_a));
}

TEST_CASE("interface: its response is that of the nearest point, re the one nearest to 1 kHz") {
  auto interface = example();
  interface.response.back().magnitude = Decibels(0.5);
  CHECK(electric::response_at(interface, Hertz(25.0)) == Decibels(-0.2 - 0.5));
  CHECK(electric::response_at(interface, Hertz(18000.0)) == Decibels(0.0));
  CHECK_FALSE(electric::response_at(electric::SoundInterface{}, Hertz(20.0)));
}

TEST_CASE("interface: its file is read back, and what is not known stays so") {
  const auto interface = example();
  const auto back = system::parse_loopback(system::loopback_json(interface).page(), "i.json");
  CHECK(back.device == interface.device);
  CHECK(back.date == interface.date);
  CHECK(back.rate == interface.rate);
  REQUIRE(back.response.size() == 2);
  CHECK(back.response[0].frequency == Hertz(20.0));
  CHECK(back.response[0].magnitude == Decibels(-0.2));
  CHECK(back.response[0].phase_deg == 3.0);
  CHECK(back.thdn == interface.thdn);
  CHECK(back.level == interface.level);
  CHECK(back.noise == interface.noise);
  CHECK(back.noise_a == interface.noise_a);
  CHECK(back.coupling_corner == interface.coupling_corner);

  electric::SoundInterface bare;
  bare.rate = Hertz(44100.0);
  const std::string text = system::loopback_json(bare).page();
  CHECK(text.find("\"thdn_percent\": null") != std::string::npos);
  CHECK_FALSE(system::parse_loopback(text, "i.json").noise);
}

TEST_CASE("interface: a file that is newer, damaged or another is refused") {
  const auto refused = [](const char* text, const char* words) {
    CAPTURE(text);
    CHECK_THROWS_WITH_AS((void)system::parse_loopback(text, "i.json"), doctest::Contains(words),
                         Error);
  };
  refused(R"({"schema": "railtap.loopback/2"})", "newer railtap");
  refused(R"({"schema": "railtap.capture/1"})", "is a \"railtap.capture/1\"");
  refused(R"({"schema": "railtap.loopback/1"})", "railtap loopback");
  refused(R"({"schema": "railtap.loopback/1", "sample_rate_hz": 0, "response": []})", "rate");
  refused(R"({"schema": "railtap.loopback/1", "sample_rate_hz": 1, "response": [3]})",
          "railtap loopback");
  refused(R"({"schema": "railtap.loopback/1", "sample_rate_hz": 1, "response": [], "device": 3})",
          "railtap loopback");
  refused("{", "does not say");
  refused("", "does not say");
}

}  // namespace

}  // namespace railtap
