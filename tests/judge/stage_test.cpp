// SPDX-License-Identifier: MIT
// Which stage clips first, and whether the recording input did it.

#include <algorithm>
#include <cmath>

#include <doctest/doctest.h>

#include "judge/attenuation.hpp"
#include "judge/stage.hpp"
#include "judge/turning.hpp"
#include "support/basics.hpp"
#include "support/onset_of.hpp"
#include "support/played_steps.hpp"

using namespace railtap;
using namespace railtap::judge;
using namespace railtap::test;

namespace {

constexpr Hertz rate{48000.0};

// A source with a rail, and an amplifier of gain 2 with a rail, both re the input of the source.
struct Chain {
  double source_rail, amplifier_rail;
  [[nodiscard]] Law before() const {
    return [r = source_rail](double x) { return std::clamp(x, -r, r); };
  }
  [[nodiscard]] Law after() const {
    return [*this](double x) {
      return std::clamp(2.0 * std::clamp(x, -source_rail, source_rail), -2.0 * amplifier_rail,
                        2.0 * amplifier_rail);
    };
  }
};

ChannelOnset onset_of(const Law& law, double scale) {
  Random random(1);
  const Stage stage{law, coupling(4.0), scale, 997.0, rate.value(), 5e-5};
  const auto samples = play(ladder(-18.0, 1.0, 19, 0.4), stage, random);
  const auto onset = ladder_onset(samples, rate, {Dbfs(-18.0), Decibels(1.0)});
  REQUIRE(onset);
  return *onset;
}

StageComparison compare(const Chain& chain) {
  return compare_stages(onset_of(chain.before(), 0.5), onset_of(chain.after(), 0.3));
}

measure::ClippedSineFit fit_of(double amplitude, double rail) {
  Random random(1);
  Recorded as;
  as.amplitude = amplitude;
  const double over = std::max(0.0, 20.0 * std::log10(amplitude / rail));
  return measure::fit_clipped_sine(series_of(clipped_sine(over, over, 20), as, random));
}

}  // namespace

TEST_CASE("stage: the source clips, and the amplifier only passes it on") {
  const auto c = compare({0.35, 0.9});
  CHECK(c.first == FirstStage::source);
  CHECK_FALSE(c.first_step_added);
  for (const auto& step : c.steps) CHECK(step.added.value() < 0.02);
}

TEST_CASE("stage: the amplifier clips what comes in clean") {
  const auto c = compare({1.5, 0.35});
  CHECK(c.first == FirstStage::amplifier);
  CHECK_FALSE(c.first_step_before);
  // 0.35 is −9.12 dBFS: the step at −9 dBFS is the 10th from −18.
  CHECK(c.first_step_added == 10);
}

TEST_CASE("stage: an amplifier that clips before the source does is named first") {
  const auto c = compare({0.7, 0.35});
  CHECK(c.first == FirstStage::amplifier);
  CHECK(c.first_step_before == 16);  // 0.7 is −3.1 dBFS: −3 dBFS
  CHECK(c.first_step_added == 10);
}

TEST_CASE("stage: a source that clips before the amplifier could is named first") {
  const auto c = compare({0.35, 0.7});
  CHECK(c.first == FirstStage::source);
}

TEST_CASE("stage: neither clips") {
  const auto c = compare({1.5, 1.5});
  CHECK(c.first == FirstStage::none);
  CHECK_FALSE(c.first_step_after);
}

TEST_CASE("stage: without common steps nothing is claimed") {
  const auto c = compare_stages(ChannelOnset{}, onset_of(Chain{1.0, 0.5}.after(), 0.3));
  CHECK(c.first == FirstStage::unknown);
}

TEST_CASE("overload source: a flat level that moves with the attenuation is the amplifier's") {
  const auto finding = judge_overload_source(fit_of(0.5, 0.4), fit_of(0.25, 0.2), Decibels(6.0206));
  CHECK(finding.source == OverloadSource::amplifier);
  REQUIRE(finding.moved);
  CHECK(within_abs(finding.moved->value(), -6.0206, 0.02));
}

TEST_CASE("overload source: a flat level that stays in dBFS is the input's") {
  const auto finding = judge_overload_source(fit_of(1.4, 0.6), fit_of(0.7, 0.6), Decibels(6.0206));
  CHECK(finding.source == OverloadSource::input);
  CHECK(within_abs(finding.moved->value(), 0.0, 0.02));
}

TEST_CASE("overload source: flat tops that go away with more attenuation were the input's") {
  const auto finding = judge_overload_source(fit_of(0.7, 0.6), fit_of(0.35, 0.6), Decibels(6.0206));
  CHECK(finding.source == OverloadSource::input);
  CHECK_FALSE(finding.flat_second);
}

TEST_CASE("overload source: what fits neither, and what is not flat, is said to be so") {
  CHECK(judge_overload_source(fit_of(0.5, 0.4), fit_of(0.4, 0.283), Decibels(6.0)).source ==
        OverloadSource::undecided);
  CHECK(judge_overload_source(fit_of(0.5, 0.4), fit_of(0.5, 0.6), Decibels(6.0)).source ==
        OverloadSource::undecided);
  CHECK(judge_overload_source(fit_of(0.5, 0.6), fit_of(0.25, 0.6), Decibels(6.0)).source ==
        OverloadSource::none);
}

// Turning an unknown gain control to where it should be.

using namespace railtap;

namespace {

/// How many turns it takes until less than 0.05 dB are missing on a control with this law.
template <class Law>
int turns_needed(Law gain_db, double start, double aim_db) {
  std::vector<judge::Turn> turns{{start, Decibels(aim_db - gain_db(start))}};
  while (std::abs(turns.back().missing.value()) > 0.05 && turns.size() < 20) {
    const double travel = next_travel(turns);
    turns.push_back({travel, Decibels(aim_db - gain_db(travel))});
  }
  return static_cast<int>(turns.size()) - 1;
}

}  // namespace

TEST_CASE("turning: the first turn assumes 25 dB over the whole travel") {
  CHECK(test::within_abs(judge::next_travel({{0.5, Decibels(-5.0)}}), 0.3, 1e-12));
}

TEST_CASE("turning: two turns give the line of a control that is even in decibels") {
  CHECK(turns_needed([](double t) { return 21.6 * t; }, 0.6, 3.0) <= 2);
  CHECK(turns_needed([](double t) { return 40.0 * t; }, 0.1, 30.0) <= 2);
}

TEST_CASE("turning: a linear potentiometer is met as well") {
  const auto linear = [](double t) { return 20.0 * std::log10(0.02 + t); };
  CHECK(turns_needed(linear, 0.9, -12.0) <= 6);
  CHECK(turns_needed(linear, 0.1, -3.0) <= 6);
}

TEST_CASE(
    "turning: never past the ends, and a control that does nothing is no reason to run away") {
  CHECK(judge::next_travel({{0.9, Decibels(20.0)}}) == 1.0);
  CHECK(judge::next_travel({{0.1, Decibels(-20.0)}}) == 0.0);
  const double next = judge::next_travel({{0.4, Decibels(2.0)}, {0.5, Decibels(2.0)}});
  CHECK(test::within_abs(next, 0.58, 1e-12));
}
