// SPDX-License-Identifier: MIT
// The form factor of known waveforms.
#include "measure/form_factor.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "electric/hard_clip.hpp"
#include "electric/meter.hpp"
#include "support/within.hpp"
#include "units/error.hpp"

using namespace railtap;
using test::within_abs;

namespace {

/// A sine of peak 1 cut at ±c, odd orders up to 399, from its closed form:
/// bn = (4/π)[n·sin(nt)·cos t − cos(nt)·sin t]/[n(n²−1)], t = asin c.
measure::HarmonicSeries clipped(double c) {
  using std::numbers::pi;
  const double t = std::asin(c);
  measure::HarmonicSeries series;
  series.fundamental = Hertz(50.0);
  for (int n = 1; n < 400; ++n) {
    double b = 0.0;
    if (n == 1) b = 2.0 / pi * (t + c * std::sqrt(1.0 - c * c));
    if (n > 1 && n % 2 == 1) {
      b = 4.0 / pi * (n * std::sin(n * t) * std::cos(t) - std::cos(n * t) * std::sin(t)) /
          (n * (n * n - 1.0));
    }
    series.phasor.emplace_back(0.0, -b);
  }
  return series;
}

}  // namespace

TEST_CASE("form factor: a sine's is π/(2√2), at any phase and level") {
  measure::HarmonicSeries sine{Hertz(1000.0), {{0.0, -0.25}}, {0.0}};
  CHECK(within_abs(measure::form_factor(sine), electric::sine_form_factor, 1e-6));
  sine.phasor[0] = {0.7, 0.1};
  CHECK(within_abs(measure::form_factor(sine), electric::sine_form_factor, 1e-6));
}

TEST_CASE("form factor: a clipped sine's equals the closed form") {
  for (const double overdrive : {0.5, 1.0, 3.0, 6.0}) {
    const auto clip = electric::hard_clip(Decibels(overdrive));
    CAPTURE(overdrive);
    CHECK(within_abs(measure::form_factor(clipped(clip.clip_ratio)),
                     std::sqrt(clip.mean_square) / clip.mean_abs, 1e-5));
  }
}

TEST_CASE("form factor: 1 % of third harmonic moves it by a third of a percent, by its phase") {
  // In phase (a flattened sine has b3 > 0) the rectified mean grows by 1 + a/3.
  measure::HarmonicSeries tone{Hertz(1000.0), {{0.0, -1.0}, {0.0, 0.0}, {0.0, -0.01}}, {}};
  const double expected = electric::sine_form_factor * std::sqrt(1.0001) / (1.0 + 0.01 / 3.0);
  CHECK(within_abs(measure::form_factor(tone), expected, 1e-6));
}

TEST_CASE("form factor: without a tone there is none") {
  CHECK_THROWS_AS((void)measure::form_factor({}), Error);
  CHECK_THROWS_AS((void)measure::form_factor({Hertz(1.0), {{0.0, 0.0}}, {}}), Error);
}
