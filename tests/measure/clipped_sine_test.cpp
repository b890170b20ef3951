// SPDX-License-Identifier: MIT
// The clipped-sine model fit: overdrive per rail from harmonics, and refusal where it is no clip.
#include "measure/clipped_sine.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <span>
#include <string>
#include <vector>

#include "measure/clipped_sine_model.hpp"
#include "support/basics.hpp"
#include "support/clipped_tone.hpp"

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;

namespace {

std::vector<double> excess_at(double overdrive_db, std::size_t orders) {
  std::vector<double> chord(orders + 2), excess(orders + 1);
  excess_series(std::acos(std::pow(10.0, -overdrive_db / 20.0)), chord, excess);
  return excess;
}

std::size_t orders_below(double hz, double fundamental_hz) {
  return std::min<std::size_t>(60, static_cast<std::size_t>(hz / fundamental_hz));
}

ClippedSineFit fit_law(const Law& law, double hz, double snr_db = 60.0) {
  Random random(5);
  const auto tone = through(shaped_sine(law, orders_below(21600.0, hz)), hz, coupling(5.0));
  return fit_clipped_sine(series_of(tone, {hz, 0.5, snr_db}, random));
}

bool any_flat(const ClippedSineFit& fit) {
  return fit.positive.flat || fit.negative.flat;
}

}  // namespace

TEST_CASE("clipped sine: the series has the closed-form harmonics of a symmetric clip") {
  struct Line {
    double overdrive_db, b1, b3, b5, b7;
  };
  // closed form; "Clipped sine" table of the reference values, derived and checked by dense
  // sampling.
  const std::array<Line, 6> table{{{0.05, 0.999478, 0.000517, -0.000507, 0.000493},
                                   {0.25, 0.994288, 0.005456, -0.004968, 0.004294},
                                   {1.0, 0.957659, 0.035282, -0.023671, 0.011373},
                                   {3.0, 0.819065, 0.105851, -0.021371, -0.015049},
                                   {6.0, 0.610306, 0.137831, 0.027304, -0.010032},
                                   {20.0, 0.127111, 0.041806, 0.024415, 0.016737}}};
  for (const Line& line : table) {
    CAPTURE(line.overdrive_db);
    const auto e = excess_at(line.overdrive_db, 7);
    // Two rails double the odd orders; the sine phase of order 3 and 7 turns the sign.
    CHECK(within_abs(1.0 - 2.0 * e[1], line.b1, 6e-7));
    CHECK(within_abs(2.0 * e[3], line.b3, 6e-7));
    CHECK(within_abs(-2.0 * e[5], line.b5, 6e-7));
    CHECK(within_abs(2.0 * e[7], line.b7, 6e-7));
  }
}

TEST_CASE("clipped sine: the series has the closed-form mean and harmonics of a one-sided clip") {
  // closed form; one-sided table of the reference values: dc −0.010822, a1 0.978830, H3 is H2 less
  // the overdrive.
  const auto e = excess_at(1.0, 3);
  CHECK(within_abs(-0.5 * e[0], -0.010822, 6e-7));
  CHECK(within_abs(1.0 - e[1], 0.978830, 6e-7));
  CHECK(within_abs(20.0 * std::log10(e[2] / (1.0 - e[1])), -33.884, 6e-4));
  CHECK(within_abs(20.0 * std::log10(e[3] / e[2]), -1.0, 1e-9));
}

TEST_CASE("clipped sine: nulls of the 5th and 7th harmonic lie where the closed form has them") {
  // b5 = 0 at c = sqrt(3/8), 4.259687 dB; b7 = 0 at 1.957611 and 7.073289 dB.
  CHECK(within_abs(excess_at(4.259687, 7)[5], 0.0, 1e-8));
  CHECK(within_abs(excess_at(1.957611, 7)[7], 0.0, 1e-8));
  CHECK(within_abs(excess_at(7.073289, 7)[7], 0.0, 1e-8));
}

TEST_CASE(
    "clipped sine: a knee is the mean of corners over its width, with the right derivatives") {
  constexpr std::size_t size = 12;
  std::array<double, 4 * (size + 2)> scratch;
  std::array<double, size> mean, by_low, by_high, moved, spare1, spare2;
  const double low = 0.8, high = 1.1;
  knee_series(low, high, scratch, {mean, by_low, by_high});
  std::array<double, size> direct{};
  constexpr int steps = 40000;
  for (int i = 0; i < steps; ++i) {
    const double t = low + (high - low) * (i + 0.5) / steps;
    if (t >= 1.0) continue;
    std::array<double, size + 1> chord;
    std::array<double, size> e;
    excess_series(std::acos(t), chord, e);
    for (std::size_t n = 1; n < size; ++n) direct[n] += e[n] / steps;
  }
  const double h = 1e-6;
  for (std::size_t n = 1; n < size; ++n) CHECK(within_abs(mean[n], direct[n], 1e-8));
  knee_series(low + h, high, scratch, {moved, spare1, spare2});
  for (std::size_t n = 1; n < size; ++n)
    CHECK(within_abs((moved[n] - mean[n]) / h, by_low[n], 1e-5));
  knee_series(low, high + h, scratch, {moved, spare1, spare2});
  for (std::size_t n = 1; n < size; ++n)
    CHECK(within_abs((moved[n] - mean[n]) / h, by_high[n], 1e-5));
}

TEST_CASE("clipped sine: the fit finds each rail, the coupling and the amplitude, at any tone") {
  Random random(1);
  for (const double hz : {20.0, 50.0, 315.0, 997.0, 4000.0}) {
    for (const double db : {0.05, 0.5, 3.0}) {
      CAPTURE(hz);
      CAPTURE(db);
      const auto tone =
          through(clipped_sine(db, 0.7 * db, orders_below(21600.0, hz)), hz, coupling(12.0));
      const auto fit = fit_clipped_sine(series_of(tone, {hz, 0.5, 60.0}, random));
      CHECK(fit.explained);
      CHECK(fit.model == ClipModel::hard);
      CHECK(fit.positive.flat);
      CHECK(fit.negative.flat);
      CHECK(within_abs(fit.positive.overdrive.value(), db, 0.002));
      CHECK(within_abs(fit.negative.overdrive.value(), 0.7 * db, 0.002));
      CHECK(within_db(fit.amplitude_fs, 0.5, 0.001));
      if (hz <= 50.0) CHECK(within_abs(fit.coupling.value(), 12.0, 0.1));
    }
  }
}

TEST_CASE("clipped sine: one flat rail leaves the other at nothing") {
  Random random(2);
  for (const double hz : {50.0, 997.0}) {
    const auto tone = through(clipped_sine(0.0, 0.4, orders_below(21600.0, hz)), hz, coupling(8.0));
    const auto fit = fit_clipped_sine(series_of(tone, {hz}, random));
    CHECK_FALSE(fit.positive.flat);
    CHECK(fit.positive.overdrive == Decibels(0.0));
    CHECK(fit.negative.flat);
    CHECK(within_abs(fit.negative.overdrive.value(), 0.4, 0.002));
    // The plateau's share of the cycle is acos(c/A)/π.
    CHECK(within_abs(fit.negative.plateau.value(),
                     100.0 * std::acos(std::pow(10.0, -0.02)) / std::numbers::pi, 0.05));
  }
}

TEST_CASE("clipped sine: a plateau rounded by a low-pass of 10 to 18 kHz is still measured") {
  Random random(3);
  for (const double corner : {10000.0, 14000.0, 18000.0}) {
    for (const Response& filter : {one_pole(corner), butterworth4(corner), steep(corner)}) {
      for (const double db : {0.1, 0.5, 2.0}) {
        CAPTURE(corner);
        CAPTURE(db);
        auto tone = through(clipped_sine(db, db, 21), 997.0, coupling(5.0));
        const auto fit = fit_clipped_sine(series_of(through(tone, 997.0, filter), {997.0}, random));
        CHECK(fit.positive.flat);
        CHECK(fit.negative.flat);
        CHECK(within_abs(fit.positive.overdrive.value(), db, 0.012));
        CHECK(within_abs(fit.negative.overdrive.value(), db, 0.012));
      }
    }
  }
}

TEST_CASE("clipped sine: two coupling capacitors in a row do not spoil the overdrive") {
  Random random(4);
  for (const double hz : {20.0, 50.0}) {
    const auto once = through(clipped_sine(1.0, 0.6, 60), hz, coupling(12.0));
    const auto fit = fit_clipped_sine(series_of(through(once, hz, coupling(7.0)), {hz}, random));
    CHECK(fit.explained);
    CHECK(fit.model == ClipModel::hard_two_poles);
    CHECK(within_abs(fit.positive.overdrive.value(), 1.0, 0.003));
    CHECK(within_abs(fit.negative.overdrive.value(), 0.6, 0.003));
    CHECK(within_abs(fit.coupling.value(), 19.0, 0.2));
  }
}

TEST_CASE("clipped sine: a soft knee that has gone flat gives the crest's loss") {
  // Law x/(1 + |x|^p)^(1/p): the limit is 1, the crest of a drive d loses (1 + d^p)^(1/p).
  struct Knee {
    double power, drive, tolerance_db;
  };
  for (const Knee& knee : {Knee{20.0, 1.2, 0.01}, Knee{20.0, 1.5, 0.01}, Knee{8.0, 1.5, 0.02},
                           Knee{8.0, 2.0, 0.05}, Knee{6.0, 2.0, 0.1}}) {
    CAPTURE(knee.power);
    CAPTURE(knee.drive);
    const auto fit = fit_law(
        [&](double x) {
          const double y = knee.drive * x;
          return y / std::pow(1.0 + std::pow(std::abs(y), knee.power), 1.0 / knee.power);
        },
        997.0);
    const double loss_db = 20.0 / knee.power * std::log10(1.0 + std::pow(knee.drive, knee.power));
    CHECK(fit.model == ClipModel::soft_knee);
    CHECK(fit.positive.flat);
    CAPTURE(loss_db);
    CAPTURE(fit.positive.overdrive.value());
    CHECK(within_abs(fit.positive.overdrive.value(), loss_db, knee.tolerance_db));
  }
}

TEST_CASE("clipped sine: compression that has not gone flat is not called flat") {
  for (const double hz : {50.0, 997.0}) {
    for (const double drive : {0.1, 0.3, 0.7, 1.0, 1.3}) {
      CAPTURE(hz);
      CAPTURE(drive);
      CHECK_FALSE(any_flat(fit_law([&](double x) { return std::tanh(drive * x); }, hz)));
      CHECK_FALSE(any_flat(fit_law([&](double x) { return std::tanh(drive * x); }, hz, 90.0)));
      CHECK_FALSE(any_flat(fit_law(
          [&](double x) {
            const double y = 0.7 * drive * x;
            return y / std::pow(1.0 + std::pow(std::abs(y), 8.0), 0.125);
          },
          hz)));
    }
    CHECK_FALSE(any_flat(fit_law([](double x) { return x - 0.1 * x * x * x; }, hz)));
    CHECK_FALSE(any_flat(fit_law([](double x) { return x - 0.02 * x * x; }, hz)));
    CHECK_FALSE(any_flat(fit_law([](double x) { return x - 0.05 * std::pow(x, 9.0); }, hz)));
  }
}

TEST_CASE("clipped sine: crossover and slew-limited waveforms are refused, not called flat") {
  Random random(6);
  for (const double hz : {50.0, 997.0}) {
    for (const double gap : {0.001, 0.01, 0.1, 0.3}) {
      CAPTURE(gap);
      const auto fit =
          fit_law([&](double x) { return x > gap    ? x - gap
                                         : x < -gap ? x + gap
                                                    : 0.0; }, hz);
      CHECK_FALSE(fit.explained);
      CHECK_FALSE(any_flat(fit));
    }
    for (const double limit : {0.95, 0.8, 0.5}) {
      CAPTURE(limit);
      const auto tone = harmonics_of_cycle(slew_limited_cycle(limit), orders_below(21600.0, hz));
      const auto fit = fit_clipped_sine(series_of(tone, {hz}, random));
      CHECK_FALSE(fit.explained);
      CHECK_FALSE(any_flat(fit));
    }
  }
}

TEST_CASE("clipped sine: a clean tone is explained as a sine, with no misfit to speak of") {
  Random random(7);
  for (const double hz : {20.0, 50.0, 997.0, 5000.0}) {
    Phasors tone(orders_below(21600.0, hz), 0.0);
    tone[0] = {0.0, -1.0};
    const auto fit = fit_clipped_sine(series_of(tone, {hz}, random));
    CHECK(fit.explained);
    CHECK(fit.model == ClipModel::sine);
    CHECK_FALSE(any_flat(fit));
    CHECK_FALSE(fit.residual_re_harmonics);
    CHECK(within_db(fit.amplitude_fs, 0.5, 0.01));
  }
}

TEST_CASE("clipped sine: a sharp clip on a slightly curved chain keeps its overdrive") {
  // Third harmonic of −80 dB added before the rails, second and third behind them.
  const double c = std::pow(10.0, -0.5 / 20.0);
  for (const double hz : {50.0, 997.0}) {
    const auto before =
        fit_law([&](double x) { return std::clamp(x - 4e-4 * x * x * x, -c, c); }, hz);
    CHECK(before.positive.flat);
    CHECK(within_abs(before.positive.overdrive.value(), 0.5, 0.01));
    const auto behind = fit_law(
        [&](double x) {
          const double y = std::clamp(x, -c, c);
          return y - 4e-4 * y * y * y - 2e-4 * y * y;
        },
        hz);
    CHECK(behind.negative.flat);
    CHECK(within_abs(behind.negative.overdrive.value(), 0.5, 0.01));
  }
}

TEST_CASE("clipped sine: too few harmonics to decide are named so") {
  Random random(8);
  const auto four = fit_clipped_sine(series_of(clipped_sine(0.5, 0.5, 4), {5000.0}, random));
  CHECK_FALSE(four.decidable);
  CHECK_FALSE(any_flat(four));
  CHECK(within_abs(four.positive.overdrive.value(), 0.5, 0.01));
  const auto two = fit_clipped_sine(series_of(clipped_sine(0.5, 0.5, 2), {9000.0}, random));
  CHECK_FALSE(two.explained);
  CHECK(two.orders_used == 0);
  CHECK_FALSE(fit_clipped_sine({}).explained);
}

TEST_CASE(
    "clipped sine: of unlike rails, either's stated uncertainty is what the noise does to it") {
  constexpr int draws = 60;
  Random random(8);
  const Law law = [](double x) {
    return std::clamp(x, -std::pow(10.0, -0.3 / 20.0), std::pow(10.0, -10.0 / 20.0));
  };
  const auto tone = through(shaped_sine(law, 20), 997.0, coupling(5.0));
  struct Spread {
    double sum = 0.0, squares = 0.0, stated = 0.0;
    void add(const RailOverdrive& rail) {
      sum += rail.overdrive.value();
      squares += rail.overdrive.value() * rail.overdrive.value();
      stated += rail.uncertainty.value() / draws;
    }
    [[nodiscard]] double ratio() const {
      return std::sqrt((squares - sum * sum / draws) / (draws - 1)) / stated;
    }
  };
  Spread positive, negative;
  for (int i = 0; i < draws; ++i) {
    const auto fit = fit_clipped_sine(series_of(tone, {997.0, 0.5, 35.0}, random));
    positive.add(fit.positive);
    negative.add(fit.negative);
  }
  CHECK(within_abs(positive.sum / draws, 10.0, 0.01));
  CHECK(within_abs(negative.sum / draws, 0.3, 0.01));
  // The scatter of 60 draws is known to 1/√(2·59) = 9 %: three of those.
  CHECK(within_abs(positive.ratio(), 1.0, 0.28));
  CHECK(within_abs(negative.ratio(), 1.0, 0.28));
}
