// SPDX-License-Identifier: MIT
// Shapes told apart by their harmonics, against waveforms that are made sample by sample.
#include "measure/waveform_shape.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "measure/shape_series.hpp"
#include "support/clipped_tone.hpp"
#include "support/random_draws.hpp"
#include "support/within.hpp"

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
