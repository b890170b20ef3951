// SPDX-License-Identifier: MIT
// Tones to calibrate with: a clean steady one is measured, all others are refused for the right
// reason.

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "electric/calibration.hpp"
#include "electric/meter.hpp"
#include "judge/calibration_tone.hpp"
#include "measure/recording.hpp"
#include "rig/description.hpp"
#include "rig/instruments.hpp"
#include "rig/rig_support.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;
using test::within_abs;
using test::within_db;

namespace {

constexpr double rate = 48000.0;
using Samples = std::vector<double>;

Samples tone(double hz, double peak, double seconds) {
  Samples x(static_cast<std::size_t>(seconds * rate));
  test::Random random(7);
  test::Gaussian noise(0.0, 1e-5);
  for (std::size_t n = 0; n < x.size(); ++n) {
    x[n] = peak * std::sin(2.0 * std::numbers::pi * hz * static_cast<double>(n) / rate) +
           noise(random);
  }
  return x;
}

judge::CalibrationCapture capture(const Samples& x) {
  measure::RecordingMeter meter(Hertz(rate), 1, {});
  meter.add(x);
  const auto recording = meter.finish()[0];
  const auto analysis = judge::judge_channel(1, recording, Hertz(rate), {});
  return judge::calibration_capture(recording, analysis, Hertz(rate), "tone.wav");
}

std::string refusal(const Samples& x) {
  try {
    (void)capture(x);
  } catch (const Error& error) {
    CHECK(error.place() == "tone.wav");
    CHECK_FALSE(error.remedy().empty());
    return error.problem();
  }
  return "accepted";
}

bool contains(const std::string& text, const char* piece) {
  return text.find(piece) != std::string::npos;
}

}  // namespace

TEST_CASE(
    "calibration tone: a clean sine of peak 0.2 has an RMS of 0.141421, a sine's shape and holds") {
  for (const double hz : {50.0, 60.0, 100.0, 997.0}) {
    CAPTURE(hz);
    const auto found = capture(tone(hz, 0.2, 3.0));
    CHECK(within_db(found.rms_fs, 0.2 / std::sqrt(2.0), 0.0005));
    CHECK(within_abs(found.form_factor, electric::sine_form_factor, 1e-5));
    CHECK(within_abs(found.frequency.value(), hz, 0.001));
    CHECK(within_abs(found.level.value(), 20.0 * std::log10(0.2), 0.0005));
    CHECK(found.level_spread.value() < 0.01);
  }
}

TEST_CASE("calibration tone: silence before and after it does no harm") {
  Samples x(24000, 0.0);
  const auto middle = tone(50.0, 0.2, 3.0);
  x.insert(x.end(), middle.begin(), middle.end());
  x.insert(x.end(), 24000, 0.0);
  CHECK(within_db(capture(x).rms_fs, 0.2 / std::sqrt(2.0), 0.001));
}

TEST_CASE("calibration tone: a clipped one is refused as clipped") {
  auto x = tone(50.0, 0.2, 3.0);
  for (double& v : x) v = std::clamp(v, -0.18, 0.18);
  CHECK(contains(refusal(x), "(clipped)"));
}

TEST_CASE("calibration tone: an overloaded input is refused as such") {
  auto x = tone(50.0, 1.3, 3.0);
  for (double& v : x) v = std::clamp(v, -1.0, 1.0);
  CHECK(contains(refusal(x), "(input-overload)"));
}

TEST_CASE("calibration tone: a noisy one is refused as distorted, with its THD+N") {
  auto x = tone(50.0, 0.2, 3.0);
  test::Random random(9);
  test::Gaussian noise(0.0, 0.005);
  for (double& v : x) v += noise(random);
  CHECK(contains(refusal(x), "(distorted)"));
  CHECK(contains(refusal(x), "THD+N"));
}

TEST_CASE("calibration tone: silence, noise and music are refused") {
  CHECK(contains(refusal(Samples(96000, 0.0)), "(no-signal)"));
  Samples x(96000);
  test::Random random(9);
  test::Gaussian noise(0.0, 0.1);
  for (double& v : x) v = noise(random);
  CHECK(contains(refusal(x), "(no-tone)"));
}

TEST_CASE(
    "calibration tone: two levels in one recording are refused, since either may have been read") {
  auto x = tone(50.0, 0.2, 3.0);
  const auto louder = tone(50.0, 0.3, 2.0);
  x.insert(x.end(), louder.begin(), louder.end());
  CHECK(contains(refusal(x), "+3.52 dB"));
}

TEST_CASE("calibration tone: a level that wanders by half a decibel is refused") {
  auto x = tone(50.0, 0.2, 6.0);
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    x[n] *= std::pow(10.0, 0.25 * std::sin(2.0 * std::numbers::pi * t / 6.0) / 20.0);
  }
  CHECK(refusal(x) != "accepted");
}

TEST_CASE("calibration tone: one shorter than a second is refused") {
  CHECK(contains(refusal(tone(50.0, 0.2, 0.6)), "lasts"));
}

TEST_CASE("calibration tone: of two channels the one with the loudest tone is taken") {
  measure::RecordingMeter meter(Hertz(rate), 2, {});
  const auto quiet = tone(50.0, 0.01, 2.0);
  const auto loud = tone(50.0, 0.2, 2.0);
  Samples both;
  for (std::size_t i = 0; i < quiet.size(); ++i) {
    both.push_back(quiet[i]);
    both.push_back(loud[i]);
  }
  meter.add(both);
  std::vector<judge::ChannelAnalysis> analyses;
  for (const auto& recording : meter.finish()) {
    analyses.push_back(
        judge::judge_channel(static_cast<int>(analyses.size()) + 1, recording, Hertz(rate), {}));
  }
  CHECK(judge::loudest_channel(analyses) == 2);
}

// Calibration against a simulated car whose true volts per full scale are known.

using namespace railtap;

namespace {

rig::Play quiet_head_unit() {
  rig::Play play;
  play.volume = {{Seconds(0.0), 28}};
  return play;
}

audio::Source tone() {
  return test::sine(Hertz(48000.0), Hertz(60.0), 0.5, Seconds(3.0));
}

judge::CalibrationCapture capture(const rig::Rig& rig) {
  const auto source = rig::record(rig, quiet_head_unit(), tone());
  const auto samples = test::channel_of(source, 0);
  const Hertz rate = source.format.rate;
  measure::RecordingMeter meter(rate, 1, {});
  meter.add(samples);
  const auto recording = meter.finish()[0];
  return judge::calibration_capture(recording, judge::judge_channel(1, recording, rate, {}), rate,
                                    "rig");
}

electric::CalibrationTone read(const rig::Rig& rig, const judge::CalibrationCapture& captured) {
  electric::CalibrationTone input;
  input.rms_fs = captured.rms_fs;
  input.form_factor = captured.form_factor;
  input.level_spread = captured.level_spread;
  input.frequency = captured.frequency;
  input.meter = rig.multimeter.manual;
  input.reading = rig::read_meter(rig, quiet_head_unit(), tone());
  return input;
}

}  // namespace

TEST_CASE("calibration: the truth lies within the stated limits for every specimen of the meter") {
  auto rig = rig::parse_rig(rig::camper_van_text(), "camper_van.toml");
  const auto captured = capture(rig);
  const double truth = rig::volts_per_full_scale(rig).value();
  for (const double gain : {-1.0, 0.0, 1.0}) {
    for (const double counts : {-5.0, 0.0, 5.0}) {
      rig.multimeter.gain_error_share = gain;
      rig.multimeter.offset_counts = counts;
      const auto found = electric::calibrate(read(rig, captured));
      // Limits are a share of what was found, not of the truth, which nobody knows.
      const double off_percent = 100.0 * (truth / found.volts_per_full_scale.value() - 1.0);
      CAPTURE(gain);
      CAPTURE(counts);
      CAPTURE(off_percent);
      // Not the meter's: rounding to its last digit, and what the coupling takes at 60 Hz (1.5 and
      // 3 Hz corners: 0.014 dB, 0.16 %).
      const double beyond = 100.0 * 0.005 / found.true_rms.value() + 0.17;
      CHECK(std::abs(off_percent) <= found.uncertainty->value() + beyond);
      // The limits are no wider than the specimens make them: the worst uses most of them up.
      if (gain * counts > 0.0) CHECK(std::abs(off_percent) >= 0.8 * found.uncertainty->value());
    }
  }
}

TEST_CASE("calibration: an ideal meter finds the true volts to 0.1 % in a faultless rig") {
  auto rig = test::faultless_rig();
  rig.head_unit.full_output = Volts(8.0);
  rig.multimeter.manual = electric::parse_meter("0.01%, 0.0001V, true-rms", "meter");
  const auto found = electric::calibrate(read(rig, capture(rig)));
  const double truth = rig::volts_per_full_scale(rig).value();
  CHECK(std::abs(found.volts_per_full_scale.value() / truth - 1.0) < 1e-3);
}

TEST_CASE("calibration: a tone that the head unit clips is refused") {
  const auto rig = rig::parse_rig(rig::camper_van_text(), "camper_van.toml");
  rig::Play loud;
  loud.volume = {{Seconds(0.0), 40}};
  const auto source =
      rig::record(rig, loud, test::sine(Hertz(48000.0), Hertz(60.0), 1.0, Seconds(3.0)));
  measure::RecordingMeter meter(source.format.rate, 1, {});
  meter.add(test::channel_of(source, 0));
  const auto recording = meter.finish()[0];
  const auto analysis = judge::judge_channel(1, recording, source.format.rate, {});
  CHECK(analysis.findings.verdict != judge::Verdict::clean);
  CHECK_THROWS((void)judge::calibration_capture(recording, analysis, source.format.rate, "rig"));
}
