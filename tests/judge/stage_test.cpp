// SPDX-License-Identifier: MIT
// Which stage clips first, and whether the recording input did it.
#include "judge/stage.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "judge/attenuation.hpp"
#include "support/onset_of.hpp"
#include "support/played_steps.hpp"
#include "support/within.hpp"

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
  std::mt19937_64 random(1);
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
  std::mt19937_64 random(1);
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
