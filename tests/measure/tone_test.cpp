// SPDX-License-Identifier: MIT
// Steady tones measured: what is put in comes out, each part in its own number; their form factor.
#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <vector>

#include "electric/meter.hpp"
#include "measure/tone.hpp"
#include "measure/tone_fit.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;
using namespace railtap::measure;
using railtap::test::within_abs;
using railtap::test::within_db;
using railtap::test::within_rel;
using std::numbers::pi;

namespace {

std::vector<double> sine(double rate, double hz, double peak, double seconds, double phase = 0.3) {
  std::vector<double> x(static_cast<std::size_t>(rate * seconds));
  for (std::size_t n = 0; n < x.size(); ++n) {
    // Long double keeps the phase exact to 1e-16 of a cycle over the record.
    const long double cycles = static_cast<long double>(hz) * static_cast<long double>(n) / rate;
    x[n] = peak * static_cast<double>(std::sin(2.0L * std::numbers::pi_v<long double> *
                                                   (cycles - std::floor(cycles)) +
                                               static_cast<long double>(phase)));
  }
  return x;
}

void add_sine(std::vector<double>& x, double rate, double hz, double peak) {
  const auto y = sine(rate, hz, peak, static_cast<double>(x.size()) / rate, 1.1);
  for (std::size_t n = 0; n < x.size() && n < y.size(); ++n) x[n] += y[n];
}

double thdn_db(const BlockMeasurement& m) {
  return 10.0 * std::log10(m.residual / (m.fundamental + m.residual));
}

}  // namespace

TEST_CASE(
    "tone: a 64-bit sine has THD+N below -180 dB at any rate, on and off bin centres, 20 Hz to 10 "
    "kHz") {
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    for (const double hz :
         {20.0, 20.37, 50.0, 99.71, 440.0, 997.0, 1000.0, 1000.5, 3333.3, 9999.9, 10000.0}) {
      CAPTURE(rate);
      CAPTURE(hz);
      const auto m = BlockMeter(Hertz(rate)).measure(sine(rate, hz, 0.9, 1.0));
      REQUIRE(m.tone);
      CHECK(thdn_db(m) < -180.0);
      CHECK(within_rel(m.series.fundamental.value(), hz, 1e-9));
      CHECK(within_db(std::sqrt(2.0 * m.fundamental), 0.9, 1e-6));
    }
  }
}

TEST_CASE(
    "tone: at 60 dB signal to noise one second gives frequency within 1e-6 and level within 0.001 "
    "dB") {
  // The Cramér-Rao bound at 60 dB and 48000 samples is 2.5e-6 Hz and 4.6e-6 of the amplitude (Kay
  // 1993, example 3.14, checked by Monte Carlo).
  test::Random random(1);
  for (const double hz : {20.0, 50.0, 997.0, 5000.0}) {
    auto x = sine(48000.0, hz, 0.5, 1.0);
    test::Gaussian noise(0.0, 0.5 / std::sqrt(2.0) * 1e-3);
    for (double& v : x) v += noise(random);
    const auto m = BlockMeter(Hertz(48000.0)).measure(x);
    CAPTURE(hz);
    CHECK(within_rel(m.series.fundamental.value(), hz, 1e-6));
    CHECK(within_db(std::sqrt(2.0 * m.fundamental), 0.5, 0.001));
    // White noise: the part inside 20 Hz … 20 kHz of 24 kHz.
    CHECK(within_abs(10.0 * std::log10(m.noise / (0.125e-6 * 19980.0 / 24000.0)), 0.0, 0.15));
    CHECK(within_abs(10.0 * std::log10(m.noise_a / m.noise), -2.048,
                     0.15));  // closed form: quadrature
  }
}

TEST_CASE("tone: a band-limited square wave has the harmonics of its Fourier series") {
  // b_k = 4/(π·k), odd k (Fourier series of the square wave).
  std::vector<double> x(48000, 0.0);
  double in_band = 0.0;
  for (int k = 1; k * 1000 < 24000; k += 2) {
    add_sine(x, 48000.0, 1000.0 * k, 0.5 * 4.0 / (pi * k));
    if (k > 1 && k * 1000 <= 20000) in_band += 1.0 / (k * k);
  }
  const auto m = BlockMeter(Hertz(48000.0)).measure(x);
  const double thd_percent = 100.0 * std::sqrt(m.harmonics / m.fundamental);
  CHECK(within_abs(thd_percent, 100.0 * std::sqrt(in_band), 0.001));
}

TEST_CASE("tone: at 50 Hz orders past the fitted ones are still harmonics and not noise") {
  std::vector<double> x(48000, 0.0);
  double in_band = 0.0;
  for (int k = 1; k <= 399; k += 2) {
    add_sine(x, 48000.0, 50.0 * k, 0.4 / k);
    if (k > 1) in_band += 1.0 / (static_cast<double>(k) * k);
  }
  const auto m = BlockMeter(Hertz(48000.0)).measure(x);
  CHECK(
      within_abs(100.0 * std::sqrt(m.harmonics / m.fundamental), 100.0 * std::sqrt(in_band), 0.01));
  CHECK(10.0 * std::log10(m.noise / m.fundamental) < -100.0);
}

TEST_CASE("tone: a second sine, hum and dc land in their own numbers") {
  auto x = sine(48000.0, 997.0, 0.5, 1.0);
  add_sine(x, 48000.0, 1503.0, 0.5e-2);  // −40 dB
  add_sine(x, 48000.0, 50.0, 0.5e-3);    // −60 dB
  add_sine(x, 48000.0, 1994.0, 0.5e-4);  // second harmonic, −80 dB
  for (double& v : x) v += 0.01;
  const auto m = BlockMeter(Hertz(48000.0)).measure(x);
  CHECK(within_abs(m.dc, 0.01, 1e-6));
  REQUIRE(m.lines.size() == 2);
  CHECK(within_abs(m.lines[0].frequency.value(), 1503.0, 0.05));
  CHECK(within_abs(10.0 * std::log10(m.lines[0].mean_square / m.fundamental), -40.0, 0.01));
  CHECK(within_abs(m.lines[1].frequency.value(), 50.0, 0.05));
  CHECK(within_abs(10.0 * std::log10(m.lines[1].mean_square / m.fundamental), -60.0, 0.02));
  CHECK(within_abs(20.0 * std::log10(std::abs(m.series.phasor[1]) / std::abs(m.series.phasor[0])),
                   -80.0, 0.3));
  CHECK(10.0 * std::log10(m.noise / m.fundamental) < -105.0);
}

TEST_CASE("tone: an odd number of samples is measured as well as an even one") {
  auto x = sine(48000.0, 997.0, 0.9, 1.0);
  x.pop_back();
  const auto m = BlockMeter(Hertz(48000.0)).measure(x);
  REQUIRE(m.tone);
  CHECK(thdn_db(m) < -180.0);
  CHECK(within_rel(m.series.fundamental.value(), 997.0, 1e-9));
  CHECK(within_abs(m.start_phase, 0.3 - 0.5 * pi, 1e-9));  // a sine's 0.3, as a cosine
}

TEST_CASE("tone: the harmonics' uncertainty is that of least squares in white noise") {
  constexpr double rms = 1e-3;
  test::Random random(6);
  test::Gaussian noise(0.0, rms);
  auto x = sine(48000.0, 997.0, 0.5, 1.0);
  for (double& v : x) v += noise(random);
  const auto m = BlockMeter(Hertz(48000.0)).measure(x);
  REQUIRE(m.series.sigma.size() > 20);
  double mean = 0.0;
  for (std::size_t k = 0; k < 20; ++k) mean += m.series.sigma[k] / 20.0;
  // Variance of either part: 2σ²/N (derived: N/2 is a column's energy). Each is read from
  // the median of 38 bins, good to 20 %; the mean of 20 to 5 %.
  CHECK(within_rel(mean, rms * std::sqrt(2.0 / 48000.0), 0.1));
}

TEST_CASE("tone: a line between bins is found where it is") {
  test::Random random(3);
  test::Gaussian noise(0.0, 1e-5);
  for (const double hz : {1503.37, 1503.5, 1502.71}) {
    auto x = sine(48000.0, 997.0, 0.5, 1.0);
    add_sine(x, 48000.0, hz, 0.5e-2);
    for (double& v : x) v += noise(random);
    const auto m = BlockMeter(Hertz(48000.0)).measure(x);
    // It leaks into the tone's harmonics at −104 dB, which then are lines as well.
    REQUIRE(!m.lines.empty());
    CHECK(within_abs(m.lines[0].frequency.value(), hz, 2e-3));
    CHECK(within_abs(10.0 * std::log10(m.lines[0].mean_square / m.fundamental), -40.0, 2e-3));
    CHECK(within_abs(10.0 * std::log10(m.noise / m.fundamental), -91.8, 1.0));
  }
}

TEST_CASE("tone: what lies below the band is neither noise nor a line") {
  auto x = sine(48000.0, 997.0, 0.5, 1.0);
  const auto without = BlockMeter(Hertz(48000.0)).measure(x);
  add_sine(x, 48000.0, 8.0, 0.01);
  const auto with = BlockMeter(Hertz(48000.0)).measure(x);
  REQUIRE(with.tone);
  CHECK(with.lines.empty());
  CHECK(with.noise < without.noise + 1e-12);  // −120 dBFS; the sine has −40
  CHECK(with.residual < without.residual + 1e-12);
}

TEST_CASE("tone: the series does not depend on where the recording began") {
  std::vector<std::complex<double>> first;
  for (const double start : {0.0, 0.123, 0.777}) {
    std::vector<double> x(48000);
    for (std::size_t n = 0; n < x.size(); ++n) {
      const double angle = 2.0 * pi * 123.4 * (static_cast<double>(n) / 48000.0 + start);
      x[n] = 0.6 * std::sin(angle) + 0.1 * std::cos(2.0 * angle) +
             0.05 * std::sin(20.0 * angle + 0.5) + 0.001 * std::sin(40.0 * angle);
    }
    const auto series = BlockMeter(Hertz(48000.0)).measure(x).series;
    CHECK(within_abs(std::abs(series.phasor[0] - std::complex(0.0, -0.6)), 0.0, 1e-6));
    CHECK(within_abs(std::abs(series.phasor[1] - std::complex(0.1, 0.0)), 0.0, 1e-6));
    CHECK(within_abs(std::abs(series.phasor[19] - std::polar(0.05, 0.5 - 0.5 * pi)), 0.0, 1e-6));
    CHECK(within_abs(std::abs(series.phasor[39] - std::complex(0.0, -0.001)), 0.0, 1e-6));
  }
}

TEST_CASE("tone: noise and two equal tones are not one steady tone") {
  test::Random random(2);
  test::Gaussian noise(0.0, 0.1);
  std::vector<double> x(48000);
  for (double& v : x) v = noise(random);
  CHECK_FALSE(BlockMeter(Hertz(48000.0)).measure(x).tone);
  auto two = sine(48000.0, 700.0, 0.3, 1.0);
  add_sine(two, 48000.0, 1900.0, 0.3);
  CHECK_FALSE(BlockMeter(Hertz(48000.0)).measure(two).tone);
}

TEST_CASE(
    "tone: the shortest blocks of low rates have room for no line, and are measured all the same") {
  test::Random random(9);
  test::Gaussian noise(0.0, 0.1);
  for (const double rate : {20.0, 64.0, 200.0, 1000.0}) {
    BlockMeter meter{Hertz(rate)};
    for (std::size_t length = meter.shortest_block(); length < 100; ++length) {
      std::vector<double> x(length);
      double energy = 0.0;
      for (double& v : x) {
        v = noise(random);
        energy += v * v;
      }
      const auto m = meter.measure(x);
      CAPTURE(rate);
      CAPTURE(length);
      CHECK(m.frames == length);
      // No part is more than a line that the whole power would make, were it in one bin's lobe.
      CHECK(m.residual >= 0.0);
      CHECK(m.residual < 10.0 * energy / static_cast<double>(length));
      for (const auto& line : m.lines) CHECK(line.frequency.value() < rate / 2.0);
    }
  }
}

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
