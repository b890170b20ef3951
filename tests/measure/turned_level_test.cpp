// SPDX-License-Identifier: MIT
// A level that is turned by hand, cut into rests and slices.
#include "measure/level_stretches.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <random>
#include <vector>

#include "support/onset_of.hpp"
#include "support/turned_tone.hpp"
#include "support/within.hpp"

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;

namespace {

Stage clean_stage(double hz = 997.0) {
  Stage stage;
  stage.hz = hz;
  stage.law = [](double x) { return x; };
  stage.chain = coupling(5.0);
  stage.scale = 0.5;
  stage.noise_rms = 1e-5;
  return stage;
}

std::vector<Step> cut(const std::vector<Turned>& turns, double hz = 997.0) {
  std::mt19937_64 random(3);
  const Stage stage = clean_stage(hz);
  const auto x = turn(turned_level(-30.0, turns, stage.rate), stage, 5.0, 24, random);
  const auto track = track_of(x, Hertz(stage.rate));
  return cut_turned(track, find_plateaus(track));
}

double seconds(const Step& step) {
  return static_cast<double>(step.inner_end - step.inner_first) / 48000.0;
}

}  // namespace

TEST_CASE("turned level: the track knows the tone") {
  std::mt19937_64 random(3);
  const Stage stage = clean_stage(123.4);
  const auto x = turn(turned_level(-30.0, {{20.0, 2.0}}, stage.rate), stage, 5.0, 24, random);
  const auto track = track_of(x, Hertz(stage.rate));
  REQUIRE(track.tone);
  CHECK(within_abs(track.tone->value(), 123.4, 0.05));
  CHECK_FALSE(track_of(std::vector<double>(48000, 0.0), Hertz(48000.0)).tone);
}

TEST_CASE("turned level: rests are steps, what lies between them is slices of 0.8 dB or 0.12 s") {
  const auto steps = cut({{0.0, 1.0}, {10.0, 2.0}, {0.0, 0.8}, {-6.0, 0.4}, {0.0, 1.0}});
  double risen = 0.0;
  for (const Step& step : steps) {
    if (!step.gliding) continue;
    CHECK(seconds(step) >= 0.04 - 1e-9);
    CHECK(seconds(step) <= 0.12 + 1e-9);
    CHECK(std::abs(step.rise_db) < 1.3);
    risen += std::abs(step.rise_db);
  }
  CHECK(within_abs(risen, 16.0, 3.0));  // the ends of a turn are in the rests' trimmed edges
  for (std::size_t i = 0; i + 1 < steps.size(); ++i) {
    CHECK(steps[i].inner_end <= steps[i + 1].inner_first);
    CHECK(steps[i].index == static_cast<int>(i));
  }
}

TEST_CASE("turned level: slices of a low tone hold four cycles") {
  for (const Step& step : cut({{0.0, 0.3}, {20.0, 1.0}, {0.0, 0.3}}, 45.0)) {
    if (step.gliding) CHECK(seconds(step) >= 4.0 / 45.0);
  }
}

TEST_CASE("turned level: a jump is no turn, and a volume that goes in clicks has rests only") {
  std::mt19937_64 random(3);
  std::vector<Played> stretches;
  for (int i = 0; i < 8; ++i) stretches.push_back({-20.0 + 1.5 * i, 0.8});
  const auto x = play(stretches, clean_stage(), random, 0.01);
  const auto track = track_of(x, Hertz(48000.0));
  const auto steps = cut_turned(track, find_plateaus(track));
  CHECK(steps.size() == 8);
  for (const Step& step : steps) CHECK_FALSE(step.gliding);
}
