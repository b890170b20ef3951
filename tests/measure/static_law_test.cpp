// SPDX-License-Identifier: MIT
// The law of a stage, read off one tone, against other tones through the same stage.

#include <algorithm>
#include <cmath>

#include <doctest/doctest.h>

#include "measure/shape_series.hpp"
#include "measure/static_law.hpp"
#include "measure/waveform_shape.hpp"
#include "support/basics.hpp"
#include "support/clipped_tone.hpp"

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
  Random random(2);
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

// Shapes told apart by their harmonics, against waveforms that are made sample by sample.

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;

namespace {

ShapeFit shape_of(const Phasors& tone, double hz = 100.0) {
  Random random(3);
  return fit_shape(series_of(tone, {hz, 0.5, 75.0}, random));
}

}  // namespace

TEST_CASE("shape: series of a dead zone are those of the waveform sampled") {
  const auto sampled = shaped_sine([](double x) { return x - 0.6 * std::clamp(x, -0.1, 0.1); }, 15);
  const auto series = shape::dead_zone(0.1, 0.6, 15);
  for (std::size_t k = 1; k <= 15; ++k) {
    CHECK(within_abs(std::abs(series[k]), std::abs(sampled[k - 1]), 1e-5));
  }
}

TEST_CASE("shape: a slewed sine of the table is the one made sample by sample") {
  // The triangle that a slew limit far below the sine leaves: harmonic k is 1/k² of the first.
  const auto series = shape::slew_limited(0.3, shape::slew_bandwidths - 1, 9);
  for (const std::size_t k : {3U, 5U, 7U}) {
    CHECK(within_abs(std::abs(series[k]) / std::abs(series[1]), 1.0 / static_cast<double>(k * k),
                     0.001));
  }
}

TEST_CASE("shape: crossover, slewing, soft and uneven laws are told apart") {
  const auto dead =
      shape_of(shaped_sine([](double x) { return x - std::clamp(x, -0.06, 0.06); }, 100));
  CHECK(dead.shape == WaveShape::dead_zone);
  CHECK(within_abs(dead.dead_share.value(), 6.0, 0.3));
  const auto slew = shape_of(harmonics_of_cycle(slew_limited_cycle(0.8), 100));
  CHECK(slew.shape == WaveShape::slew);
  CHECK(within_abs(slew.speed.value(), 80.0, 1.0));
  const auto soft = shape_of(shaped_sine([](double x) { return std::tanh(0.8 * x); }, 100));
  CHECK(soft.shape == WaveShape::bend);
  CHECK(soft.compressed);
  CHECK_FALSE(soft.even);
  const auto uneven = shape_of(shaped_sine([](double x) { return x - 0.05 * x * x; }, 100));
  CHECK(uneven.shape == WaveShape::bend);
  CHECK(uneven.even);
}

TEST_CASE("shape: rails behind a filter are found with their overdrive and the filter's corner") {
  const auto clip = clipped_sine(2.0, 2.0, 100);
  const auto high = shape_of(through(clip, 100.0, coupling(80.0)));
  REQUIRE(high.shape == WaveShape::rails);
  CHECK(within_abs(high.over_positive->value(), 2.0, 0.05));
  CHECK(within_abs(high.high_pass.value(), 80.0, 2.0));
  const auto low = shape_of(through(clip, 100.0, one_pole(300.0)));
  REQUIRE(low.shape == WaveShape::rails);
  CHECK(within_abs(low.over_negative->value(), 2.0, 0.05));
  CHECK(within_abs(low.low_pass.value(), 300.0, 10.0));
}

TEST_CASE("shape: a tone without harmonics is plain, one with a lone odd one is no rail") {
  CHECK(shape_of(shaped_sine([](double x) { return x; }, 50)).shape == WaveShape::plain);
  CHECK(shape_of(shaped_sine([](double x) { return x - 0.05 * x * x * x; }, 3), 5000.0).shape !=
        WaveShape::rails);
}
