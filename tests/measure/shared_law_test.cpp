// SPDX-License-Identifier: MIT
// One law of a tone at several levels, against the law that made them.
#include "measure/shared_law.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

#include "support/clipped_tone.hpp"
#include "support/within.hpp"

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;

namespace {

constexpr double coupling_hz = 6.0;
constexpr double hz = 997.0;
constexpr std::size_t orders = 20;

// Tones at rest, 1 dB apart, through a law and a coupling.
std::vector<HarmonicSeries> tones_of(const Law& law, double first_peak, int count) {
  std::vector<HarmonicSeries> tones;
  std::mt19937_64 random(3);
  for (int i = 0; i < count; ++i) {
    const double peak = first_peak * std::pow(10.0, 0.05 * i);
    const auto tone = shaped_sine([&](double x) { return law(peak * x); }, orders);
    Recorded as;
    as.fundamental_hz = hz;
    as.amplitude = 1.0;
    as.snr_db = 70.0;
    tones.push_back(series_of(through(tone, hz, coupling(coupling_hz)), as, random));
  }
  return tones;
}

SharedLaw law_behind(const std::vector<HarmonicSeries>& tones) {
  std::vector<LawTone> given;
  for (const HarmonicSeries& tone : tones) given.push_back({&tone, orders, 0.0});
  const auto law = fit_shared_law(given);
  REQUIRE(law);
  return *law;
}

}  // namespace

// Expected values are those of the law that made the tones: the clipped sine, and the p-norm, whose
// slope is (1 + x^p)^(−1 − 1/p) (derivative of x/(1 + x^p)^(1/p)).

TEST_CASE("shared law: rails that are not alike, as corners") {
  const auto tones = tones_of([](double x) { return std::clamp(x, -0.4, 0.3); }, 0.2, 8);
  const SharedLaw law = law_behind(tones);
  CHECK(law.corner);
  CHECK(within_rel(law.positive(), 0.3, 1e-3));
  CHECK(within_rel(law.negative(), 0.4, 1e-3));
  CHECK(within_abs(law.coupling.value(), coupling_hz, 2.0));
  CHECK(law.misfit < 1.2);
}

TEST_CASE("shared law: the input at which a p-norm is flat to a tenth") {
  for (const double p : {3.0, 8.0, 25.0}) {
    CAPTURE(p);
    const auto knee = [=](double x) {
      return x / std::pow(1.0 + std::pow(std::abs(x / 0.3), p), 1.0 / p);
    };
    const SharedLaw law = law_behind(tones_of(knee, 0.1, 15));
    const double flat = 0.3 * std::pow(std::pow(10.0, p / (p + 1.0)) - 1.0, 1.0 / p);
    CHECK_FALSE(law.corner);
    CHECK(within_db(input_at_slope(law, 0.1), flat, 0.03));
    const double output = SharedLawOutput(law, orders).at(flat).fundamental;
    const auto there = through(shaped_sine([&](double x) { return knee(flat * x); }, orders), hz,
                               coupling(coupling_hz));
    CHECK(within_db(std::sqrt(output), std::sqrt(0.5 * std::norm(there[0])), 0.01));
  }
}

TEST_CASE("shared law: rails that move from tone to tone leave a misfit") {
  std::vector<HarmonicSeries> tones;
  for (int i = 0; i < 8; ++i) {
    const double rail = 0.3 * std::pow(10.0, -0.01 * i);
    const double peak = 0.25 * std::pow(10.0, 0.05 * i);
    tones.push_back(tones_of([=](double x) { return std::clamp(x, -rail, rail); }, peak, 1)[0]);
  }
  CHECK(law_behind(tones).misfit > 4.0);
}

TEST_CASE("shared law: two tones say nothing") {
  const auto tones = tones_of([](double x) { return std::clamp(x, -0.4, 0.3); }, 0.4, 2);
  CHECK_FALSE(
      fit_shared_law(std::vector<LawTone>{{&tones[0], orders, 0.0}, {&tones[1], orders, 0.0}}));
}
