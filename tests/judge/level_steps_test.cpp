// SPDX-License-Identifier: MIT
// Steps of a rising level: cut, measured, and the highest clean one named.
#include "judge/level_steps.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "support/within.hpp"

using namespace railtap;

namespace {

constexpr double rate = 48000.0;

/// 0.3 s of faint noise-free idling, then steps of 1 dB up to 0 dBFS, hard clipped at ±0.5. Clipped
/// oversampled, one sample in 16 kept after averaging: aliases are far below what matters here.
std::vector<double> clipped_ladder(double frequency, int steps, double dwell) {
  std::vector<double> samples(static_cast<std::size_t>(0.3 * rate), 0.0);
  const auto per_step = static_cast<int>(dwell * rate);
  for (int step = 0; step < steps; ++step) {
    const double peak = std::pow(10.0, -(steps - 1 - step) / 20.0);
    for (int n = 0; n < per_step; ++n) {
      double sum = 0.0;
      for (int k = 0; k < 16; ++k) {
        const double time = (step * per_step + n + k / 16.0) / rate;
        sum += std::clamp(peak * std::sin(2.0 * std::numbers::pi * frequency * time), -0.5, 0.5);
      }
      samples.push_back(sum / 16.0);
    }
  }
  return samples;
}

}  // namespace

TEST_CASE("level steps: a hard rail's onset is found from the first step over it") {
  const auto samples = clipped_ladder(1000.0, 12, 0.5);
  measure::StepMeter meter(Hertz(rate), {Seconds(0.5), 12});
  // In two pieces: blocks need not respect steps.
  meter.add(samples.data(), 1, 100000);
  meter.add(samples.data() + 100000, 1, samples.size() - 100000);
  const auto found = judge::judge_steps(meter.finish(), Volts(40.0), Percent(1.0));
  REQUIRE(found.steps.size() == 12);
  // 0.5 is −6.02 dB: the step at −7 dB is clean, that at −6 dB 0.02 dB over, that at −5 dB 1.02 dB
  // over.
  REQUIRE(found.highest_clean.has_value());
  CHECK(*found.highest_clean <= 5);
  CHECK(*found.highest_clean >= 4);
  REQUIRE(found.onset.has_value());
  CHECK(test::within_db(found.onset->value(), 0.5 * 40.0 / std::sqrt(2.0), 0.01));
  CHECK(test::within_abs(found.steps[6].overdrive->value(), 1.0206, 0.01));
  CHECK(test::within_db(found.steps[4].level.value(),
                        40.0 / std::sqrt(2.0) * std::pow(10.0, -7.0 / 20.0), 0.01));
}

TEST_CASE("level steps: no steps where nothing is played, no onset where nothing clips") {
  measure::StepMeter silent(Hertz(rate), {Seconds(0.5), 3});
  const std::vector<double> nothing(96000, 0.0);
  silent.add(nothing.data(), 1, nothing.size());
  const auto none = judge::judge_steps(silent.finish(), Volts(40.0), Percent(1.0));
  CHECK(none.steps.empty());
  CHECK_FALSE(none.highest_clean.has_value());

  auto quiet = clipped_ladder(1000.0, 3, 0.5);
  for (double& x : quiet) x = std::clamp(x, -0.4999, 0.4999) * 0.0;
  for (std::size_t n = 14400; n < quiet.size(); ++n) {
    quiet[n] = 0.1 * std::sin(2.0 * std::numbers::pi * 1000.0 * static_cast<double>(n) / rate);
  }
  measure::StepMeter meter(Hertz(rate), {Seconds(0.5), 3});
  meter.add(quiet.data(), 1, quiet.size());
  const auto clean = judge::judge_steps(meter.finish(), Volts(40.0), Percent(1.0));
  CHECK(clean.highest_clean == std::optional<std::size_t>(2));
  CHECK_FALSE(clean.onset.has_value());
}
