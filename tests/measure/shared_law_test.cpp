// SPDX-License-Identifier: MIT
// One law of a tone at several levels, against the law that made them.
#include "measure/shared_law.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "support/basics.hpp"
#include "support/clipped_tone.hpp"

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
  Random random(3);
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
  std::reverse(given.begin(), given.end());
  const auto laws = fit_shared_laws(given);
  REQUIRE_FALSE(laws.empty());
  return laws[0];
}

}  // namespace

// Expected values are those of the law that made the tones: the clipped sine, and the p-norm, whose
// slope is (1 + x^p)^(−1 − 1/p) (derivative of x/(1 + x^p)^(1/p)).

TEST_CASE("shared law: rails that are not alike, as corners") {
  const auto tones = tones_of([](double x) { return std::clamp(x, -0.4, 0.3); }, 0.2, 8);
  const SharedLaw law = law_behind(tones);
  CHECK(law.corner);
  CHECK(within_rel(std::exp(law.at[SharedLaw::ln_positive]), 0.3, 1e-3));
  CHECK(within_rel(std::exp(law.at[SharedLaw::ln_negative]), 0.4, 1e-3));
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

// Of each, the input at which its slope is a tenth (derived from the slope).
TEST_CASE("shared law: the input at which knees of other families are flat to a tenth") {
  struct Other {
    const char* what;
    Law law;
    double flat;
  };
  const double rail = 0.2;
  const auto two_slopes = [=](double x) {
    const double size = std::abs(x);
    return std::copysign(
        std::min(size, 0.5 * rail) + 0.4 * (std::clamp(size, 0.5 * rail, rail) - 0.5 * rail), x);
  };
  const auto parabola = [=](double x) {  // from a slope of 1 at 0.7 rail to 0 at 1.3 rail
    const double in = std::clamp((std::abs(x) / rail - 0.7) / 0.6, 0.0, 1.0);
    return std::copysign(rail * (std::min(std::abs(x) / rail, 0.7) + 0.6 * (in - 0.5 * in * in)),
                         x);
  };
  const auto cubic = [=](double x) {
    const double u = std::clamp(x / rail, -1.0, 1.0);
    return rail * (u - u * u * u / 3.0);
  };
  const std::vector<Other> others{
      {"tanh", [=](double x) { return rail * std::tanh(x / rail); },
       rail * std::atanh(std::sqrt(0.9))},
      {"arc tangent", [=](double x) { return rail * std::atan(x / rail); }, 3.0 * rail},
      {"cubic", cubic, rail * std::sqrt(0.9)},
      {"parabola", parabola, rail * (0.7 + 0.6 * 0.9)},
      {"two slopes", two_slopes, rail},
      {"unlike rails",
       [=](double x) { return x > 0.0 ? 0.4 * std::tanh(x / 0.4) : std::max(x, -rail); }, rail}};
  for (const Other& other : others) {
    CAPTURE(other.what);
    const SharedLaw law = law_behind(tones_of(other.law, 0.06, 22));
    CHECK(law.misfit < 1.2);
    CHECK(within_db(input_at_slope(law, 0.1), other.flat, 0.05));
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
  CHECK(fit_shared_laws({{&tones[0], orders, 0.0}, {&tones[1], orders, 0.0}}).empty());
}
