// SPDX-License-Identifier: MIT
// The onset of a control that is turned by hand: on the way up, and on the way down.
#include "judge/onset_turned.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "support/basics.hpp"
#include "support/onset_of.hpp"
#include "support/turned_tone.hpp"

using namespace railtap;
using namespace railtap::judge;
using namespace railtap::test;

namespace {

constexpr double rail_dbfs = -10.0;

Stage hard_stage(double hz = 997.0) {
  const double rail = std::pow(10.0, rail_dbfs / 20.0);
  Stage stage;
  stage.hz = hz;
  stage.law = [=](double x) { return std::clamp(x, -rail, rail); };
  stage.chain = coupling(5.0);
  stage.scale = 0.9;
  stage.noise_rms = 1e-5;
  return stage;
}

ChannelOnset onset_of(const Stage& stage, double from, const std::vector<Turned>& turns) {
  Random random(9);
  return rising_onset(turn(turned_level(from, turns, stage.rate), stage, 5.0, 24, random),
                      Hertz(stage.rate));
}

const std::vector<Turned> up{{0.0, 0.3}, {5.0, 0.8}, {4.0, 0.22}, {3.0, 0.5}, {0.0, 0.4}};
const std::vector<Turned> up_and_down{{0.0, 0.3}, {9.0, 0.5},  {0.0, 0.5},  {3.0, 0.6},
                                      {0.0, 0.2}, {-5.0, 0.5}, {-4.0, 0.3}, {0.0, 0.4}};

measure::MeasuredStep step_at(double level_db, double rise_db) {
  measure::MeasuredStep step;
  step.block.tone = true;
  step.block.fundamental = 0.5 * std::pow(10.0, level_db / 10.0);
  step.step.gliding = rise_db != 0.0;
  step.step.rise_db = rise_db;
  return step;
}

}  // namespace

TEST_CASE("ways: a slice has its own, a rest that on which it was reached") {
  const std::vector<measure::MeasuredStep> steps{
      step_at(-20.0, 0.0), step_at(-19.5, 0.8),  step_at(-19.0, 0.0), step_at(-18.6, 0.7),
      step_at(-18.6, 0.0), step_at(-18.9, -0.8), step_at(-19.3, 0.0), step_at(-19.3, 0.0)};
  const std::vector<Way> expected{Way::up, Way::up,   Way::up,   Way::up,
                                  Way::up, Way::down, Way::down, Way::down};
  CHECK(ways_of(steps) == expected);
  CHECK(ways_of({step_at(-10.0, 0.0), step_at(-12.0, 0.0)}) ==
        std::vector<Way>{Way::down, Way::down});
}

TEST_CASE("turned by hand: rails are found on the way up, and nothing is said of a way down") {
  for (const double hz : {60.0, 997.0, 2500.0}) {
    CAPTURE(hz);
    const Stage stage = hard_stage(hz);
    const auto onset = onset_of(stage, -20.0, up);
    CHECK(onset.verdict == OnsetVerdict::clips);
    REQUIRE(onset.flat_top);
    REQUIRE(onset.thdn);
    CHECK(within_abs(onset.flat_top->level.value(), steady_tone(stage, rail_dbfs).level_dbfs, 0.1));
    const double thdn = steady_tone(stage, *thdn_input(stage, 0.01, -8.0)).level_dbfs;
    CHECK(within_abs(onset.thdn->level.value(), thdn, 0.1));
    CHECK_FALSE(onset.down);
    REQUIRE(onset.highest_clean_step);
  }
}

TEST_CASE("turned by hand: what moves is no distortion") {
  Stage stage = hard_stage();
  stage.law = [](double x) { return x; };
  const auto onset = onset_of(stage, -20.0, up_and_down);
  CHECK(onset.verdict == OnsetVerdict::clean_throughout);
  CHECK_FALSE(onset.thdn);
  for (const OnsetStep& step : onset.steps) {
    CHECK(step.verdict == Verdict::clean);
    REQUIRE(step.thdn);
    CHECK(step.thdn->value() < 0.5);
  }
}

TEST_CASE("turned by hand: up and down, each way has its own onset") {
  const Stage stage = hard_stage();
  const auto onset = onset_of(stage, -20.0, up_and_down);
  const double flat = steady_tone(stage, rail_dbfs).level_dbfs;
  const double thdn = steady_tone(stage, *thdn_input(stage, 0.01, -8.0)).level_dbfs;
  REQUIRE(onset.flat_top);
  REQUIRE(onset.down);
  REQUIRE(onset.down->flat_top);
  REQUIRE(onset.down->thdn);
  CHECK(within_abs(onset.flat_top->level.value(), flat, 0.1));
  CHECK(within_abs(onset.down->flat_top->level.value(), flat, 0.1));
  CHECK(within_abs(onset.down->thdn->level.value(), thdn, 0.1));
  for (const auto& reason : onset.reasons) CHECK(reason.find("way down") == std::string::npos);
}

TEST_CASE("turned by hand: rails that have come down by the way back are told") {
  const Stage stage = hard_stage();
  Random random(9);
  const auto level = turned_level(-20.0, up_and_down, stage.rate);
  auto samples = turn(level, stage, 5.0, 0, random);
  Stage tired = stage;
  const double rail = std::pow(10.0, (rail_dbfs - 1.0) / 20.0);
  tired.law = [=](double x) { return std::clamp(x, -rail, rail); };
  Random again(9);
  const auto later = turn(level, tired, 5.0, 0, again);
  // From the top on.
  const auto top = static_cast<std::ptrdiff_t>(2.0 * stage.rate);
  std::copy(later.begin() + top, later.end(), samples.begin() + top);
  const auto onset = rising_onset(samples, Hertz(stage.rate));
  REQUIRE(onset.down);
  REQUIRE(onset.down->flat_top);
  CHECK(within_abs(onset.down->flat_top->level.value(),
                   steady_tone(tired, rail_dbfs - 1.0).level_dbfs, 0.15));
  const bool told = std::any_of(
      onset.reasons.begin(), onset.reasons.end(),
      [](const std::string& reason) { return reason.find("way down") != std::string::npos; });
  CHECK(told);
}

TEST_CASE("turned by hand: only down, that way counts for both") {
  const Stage stage = hard_stage();
  const auto onset = onset_of(stage, -8.0, {{0.0, 0.4}, {-4.0, 0.5}, {-6.0, 0.5}, {0.0, 0.4}});
  REQUIRE(onset.flat_top);
  REQUIRE(onset.down);
  REQUIRE(onset.down->flat_top);
  CHECK(onset.flat_top->level.value() == onset.down->flat_top->level.value());
  CHECK(onset.only_down);
  CHECK_FALSE(onset_of(stage, -20.0, up_and_down).only_down);
}

TEST_CASE("turned by hand: crackles of the control are left out, and no way down is made of them") {
  const Stage stage = hard_stage();
  // 25 dB in three seconds, from 15 dB below the rail to 10 dB over it.
  const std::vector<Turned> slowly{{0.0, 0.3}, {25.0, 3.0}, {0.0, 0.4}};
  auto level = turned_level(rail_dbfs - 15.0, slowly, stage.rate);
  for (const double at_s : {1.6, 1.75, 1.95, 2.07, 2.17, 2.3, 2.52}) {
    const auto first = static_cast<std::size_t>(at_s * stage.rate);
    for (std::size_t n = 0; n < 400; ++n) level[first + n] -= 15.0;  // 8 ms
  }
  Random random(9);
  const auto onset = rising_onset(turn(level, stage, 5.0, 24, random), Hertz(stage.rate));
  const double thdn = steady_tone(stage, *thdn_input(stage, 0.01, -8.0)).level_dbfs;
  REQUIRE(onset.thdn);
  CHECK(within_abs(onset.thdn->level.value(), thdn, 0.02));
  CHECK(std::abs(onset.thdn->level.value() - thdn) <= 2.0 * onset.thdn->uncertainty.value());
  CHECK_FALSE(onset.down);
}

TEST_CASE("turned by hand: level control that turns the noise down, too, is told") {
  // A gain that follows the peaks with an attack of 20 ms and a release of 1 s, and lets a tenth of
  // the decibels above its threshold pass.
  Stage stage = hard_stage();
  stage.law = [](double x) { return x; };
  stage.noise_rms = 3e-4;
  const std::vector<Turned> slowly{{0.0, 0.3}, {24.0, 3.0}, {0.0, 0.4}};
  Random random(9);
  auto samples = turn(turned_level(-28.0, slowly, stage.rate), stage, 5.0, 0, random);
  const auto told = [&](const std::vector<double>& x) {
    const auto onset = rising_onset(x, Hertz(stage.rate));
    return !onset.reasons.empty() && onset.reasons[0].find("level control") != std::string::npos;
  };
  CHECK_FALSE(told(samples));
  constexpr double threshold = 0.1;
  constexpr double held_share = 0.9;
  double envelope = 0.0;
  for (double& x : samples) {
    const double time_s = std::abs(x) > envelope ? 0.02 : 1.0;
    envelope += (std::abs(x) - envelope) / (time_s * stage.rate);
    x *= std::pow(std::min(1.0, threshold / std::max(envelope, 1e-9)), held_share);
  }
  CHECK(told(samples));
}

// A gain that holds the level from a threshold on, 20 dB below full scale, by the peaks or by the
// mean square, and a recorder's noise behind it: none of it is turned down.
enum class Detector { peak, mean_square };
void hold_level(std::vector<double>& samples, Detector detector, double rate) {
  constexpr double threshold = 0.1;
  constexpr double attack_s = 0.005, release_s = 1.0, mean_s = 0.05;
  Random random(5);
  Gaussian noise(0.0, 1e-5);
  double peak = 0.0, square = 0.0;
  for (double& x : samples) {
    peak += (std::abs(x) - peak) / ((std::abs(x) > peak ? attack_s : release_s) * rate);
    square += (x * x - square) / (mean_s * rate);
    const double level = detector == Detector::peak ? peak : std::sqrt(2.0 * square);
    x = x * std::min(1.0, threshold / std::max(level, 1e-9)) + noise(random);
  }
}

TEST_CASE("turned by hand: level control that holds the mean square leaves no level to tell") {
  Stage stage = hard_stage();
  stage.noise_rms = 0.0;
  Random random(9);
  const std::vector<Turned> far{{0.0, 0.3}, {20.0, 2.0}, {6.0, 1.0}, {0.0, 0.4}};
  auto samples = turn(turned_level(-30.0, far, stage.rate), stage, 5.0, 0, random);
  const auto before = rising_onset(samples, Hertz(stage.rate));
  CHECK(before.flat_top);
  CHECK(before.reasons.empty());
  hold_level(samples, Detector::mean_square, stage.rate);
  const auto onset = rising_onset(samples, Hertz(stage.rate));
  CHECK(onset.verdict == OnsetVerdict::clips);
  CHECK_FALSE(onset.flat_top);
  CHECK_FALSE(onset.thdn);
  REQUIRE_FALSE(onset.reasons.empty());
  CHECK(onset.reasons[0].find("flatter by") != std::string::npos);
}

TEST_CASE("turned by hand: a level that rests where clipping begins may be held there") {
  Stage stage = hard_stage();
  stage.noise_rms = 0.0;
  Random random(9);
  const std::vector<Turned> far{{0.0, 0.3}, {10.0, 1.5}, {10.0, 3.0}, {6.0, 1.0}, {0.0, 0.4}};
  auto samples = turn(turned_level(-30.0, far, stage.rate), stage, 5.0, 0, random);
  const auto told = [&] {
    const auto onset = rising_onset(samples, Hertz(stage.rate));
    CHECK(onset.flat_top);
    return std::any_of(onset.reasons.begin(), onset.reasons.end(), [](const std::string& reason) {
      return reason.find("rests for") != std::string::npos;
    });
  };
  CHECK_FALSE(told());
  hold_level(samples, Detector::peak, stage.rate);
  CHECK(told());
}

TEST_CASE("turned by hand: a rail that gives way a little keeps its onset") {
  const Stage stage = hard_stage();
  Random random(9);
  const std::vector<Turned> far{{0.0, 0.3}, {10.0, 1.0}, {5.0, 1.0}, {0.0, 0.4}};
  const auto level = turned_level(-20.0, far, stage.rate);
  auto samples = turn(level, stage, 5.0, 24, random);
  // By a tenth for 6 dB over it. All of the output falls with it: of a sine that is cut, the rail.
  for (std::size_t n = 0; n < samples.size(); ++n)
    samples[n] *=
        1.0 - 0.1 * std::clamp(std::pow(10.0, (level[n] - rail_dbfs) / 20.0) - 1.0, 0.0, 1.0);
  const auto onset = rising_onset(samples, Hertz(stage.rate));
  REQUIRE(onset.flat_top);
  CHECK(within_abs(onset.flat_top->level.value(), steady_tone(stage, rail_dbfs).level_dbfs, 0.1));
}

TEST_CASE("turned by hand: a control behind the stage that clips moves the level, not the tops") {
  // The tone stands 2 dB over the rail, and all of it is turned.
  const Stage stage = hard_stage();
  Random random(9);
  const auto level = turned_level(-20.0, up_and_down, stage.rate);
  Stage quiet = stage;
  quiet.noise_rms = 0.0;
  auto samples = turn(std::vector<double>(level.size(), rail_dbfs + 2.0), quiet, 5.0, 0, random);
  Gaussian noise(0.0, stage.noise_rms);
  for (std::size_t n = 0; n < samples.size(); ++n) {
    samples[n] = samples[n] * std::pow(10.0, (level[n] + 8.0) / 20.0) + noise(random);
  }
  const auto onset = rising_onset(samples, Hertz(stage.rate));
  CHECK(onset.verdict == OnsetVerdict::clips);
  CHECK_FALSE(onset.flat_top);
  CHECK_FALSE(onset.thdn);
  CHECK_FALSE(onset.down);
  REQUIRE(onset.reasons.size() == 1);
  CHECK(onset.reasons[0].find("behind the stage that clips") != std::string::npos);
}
