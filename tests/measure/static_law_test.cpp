// SPDX-License-Identifier: MIT
// The law of a stage, read off one tone, against other tones through the same stage.
#include "measure/static_law.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "support/clipped_tone.hpp"
#include "support/within.hpp"

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;

namespace {

// Fundamental and harmonics of a sine of peak `peak` through a law and a coupling, mean squares.
LawOutput truth(const Law& law, double peak, double corner_hz, double hz, std::size_t orders) {
  const Phasors tone = through(shaped_sine([&](double x) { return law(peak * x); }, orders), hz,
                               coupling(corner_hz));
  LawOutput output;
  output.fundamental = 0.5 * std::norm(tone[0]);
  for (std::size_t k = 1; k < tone.size(); ++k) output.harmonics += 0.5 * std::norm(tone[k]);
  return output;
}

HarmonicSeries series(const Law& law, double corner_hz, double hz) {
  std::mt19937_64 random(2);
  Recorded as;
  as.fundamental_hz = hz;
  as.amplitude = 1.0;
  as.snr_db = 70.0;
  return series_of(through(shaped_sine(law, 20), hz, coupling(corner_hz)), as, random);
}

}  // namespace

TEST_CASE("static law: one loud tone tells the distortion of softer ones") {
  const Law knee = [](double x) {
    return x / std::pow(1.0 + std::pow(std::abs(2.0 * x), 6.0), 1.0 / 6.0);
  };
  for (const double hz : {50.0, 997.0}) {
    const StaticLaw law = law_of(series(knee, 8.0, hz), 20);
    CHECK(law.misfit < 0.02);
    for (const double ratio : {1.0, 0.8, 0.6, 0.4}) {
      const LawOutput expected = truth(knee, ratio, 8.0, hz, 20);
      const LawOutput found = output_of(law, ratio, 20);
      CHECK(within_rel(found.fundamental, expected.fundamental, 2e-3));
      CHECK(within_abs(std::sqrt(found.harmonics / found.fundamental),
                       std::sqrt(expected.harmonics / expected.fundamental), 3e-4));
    }
  }
}

TEST_CASE("static law: the coupling is found where it turns phases, at 50 Hz") {
  const Law bent = [](double x) { return std::clamp(x, -0.8, 0.6); };
  CHECK(within_abs(law_of(series(bent, 12.0, 50.0), 20).coupling.value(), 12.0, 0.3));
}

TEST_CASE("static law: a waveform with a memory is told by its misfit") {
  HarmonicSeries tone = series([](double x) { return std::clamp(x, -0.7, 0.7); }, 0.0, 997.0);
  for (std::size_t k = 1; k < tone.phasor.size(); ++k) tone.phasor[k] *= std::complex(0.0, 1.0);
  CHECK(law_of(tone, 20).misfit > 0.9);
}

TEST_CASE("static law: rails give the closed form of the clipped sine") {
  StaticLaw law;
  law.fundamental = Hertz(997.0);
  law.rails = StaticLaw::Rails{1.0, std::pow(10.0, -1.0 / 20.0), std::pow(10.0, -1.0 / 20.0)};
  // Published row for 1 dB of overdrive, orders to the 20th: THD_R 4.62253 %, b1 0.957659.
  const LawOutput out = output_of(law, 1.0, 20);
  CHECK(within_abs(100.0 * std::sqrt(out.harmonics / out.total()), 4.62253, 2e-4));
  CHECK(within_abs(std::sqrt(2.0 * out.fundamental), 0.957659, 5e-6));
  CHECK(output_of(law, 0.8, 20).harmonics < 1e-12);
}

TEST_CASE("static law: the crests of a tone are what the law makes of its peaks, from zero input") {
  const Law lopsided = [](double x) {
    const double rail = x > 0.0 ? 0.5 : 0.7;
    return 0.1 + x / std::pow(1.0 + std::pow(std::abs(x) / rail, 6.0), 1.0 / 6.0);
  };
  for (const double hz : {50.0, 997.0}) {
    const HarmonicSeries tone = series(lopsided, 8.0, hz);
    const Crests crests = crests_of(tone, 20, Hertz(8.0));
    CHECK(within_rel(crests.positive, lopsided(1.0) - 0.1, 2e-3));
    CHECK(within_rel(crests.negative, 0.1 - lopsided(-1.0), 2e-3));
    CHECK(crests.sigma < 2e-3);
    // What is cut off is in the uncertainty.
    const Crests few = crests_of(tone, 5, Hertz(8.0));
    CHECK(within_abs(few.positive, lopsided(1.0) - 0.1, few.sigma));
    CHECK(few.sigma > crests.sigma);
  }
}
