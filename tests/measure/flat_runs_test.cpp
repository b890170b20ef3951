// SPDX-License-Identifier: MIT
// Runs at the extremes: in numbers, in codes, and in recordings that the distribution packages.

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <limits>
#include <numbers>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include <doctest/doctest.h>

#include "measure/flat_runs.hpp"
#include "support/basics.hpp"
#include "support/made_music.hpp"

using namespace railtap;
using namespace railtap::measure;
using std::numbers::pi;

namespace {

FlatRuns runs_of(const std::vector<double>& x, std::size_t block = 1000) {
  FlatRuns runs;
  const std::span<const double> all(x);
  for (std::size_t at = 0; at < x.size(); at += block) {
    const auto part = all.subspan(at, std::min(block, x.size() - at));
    runs.add(part, figures(part));
  }
  return runs;
}

/// A sine of full scales `peak`, limited and rounded to codes, with noise before the limit or
/// behind it.
std::vector<double> recorded(double hz, double peak, double limit, double step, double noise_before,
                             double noise_behind) {
  railtap::test::Random random(9);
  railtap::test::Gaussian normal(0.0, 1.0);
  std::vector<double> x(48000);
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double sine = peak * std::sin(2.0 * pi * hz / 48000.0 * static_cast<double>(n));
    const double clipped = std::clamp(sine + noise_before * normal(random), -limit, limit);
    x[n] = step * std::round((clipped + noise_behind * normal(random)) / step);
  }
  return x;
}

constexpr double step16 = 1.0 / 32768.0;
constexpr double step24 = 1.0 / 8388608.0;

}  // namespace

TEST_CASE("flat runs: counts, runs and extremes are those of the samples, in any blocks") {
  const std::vector<double> x{0.0, 0.3, 0.5, 0.5,  0.1,  0.7,  0.7,  0.7, 0.7,  0.2, 0.7,
                              0.7, 0.7, 0.0, -0.2, -0.4, -0.4, -0.4, 0.1, -0.4, 0.0};
  for (const std::size_t block : {1u, 2u, 3u, 5u, 100u}) {
    CAPTURE(block);
    const FlatRuns runs = runs_of(x, block);
    CHECK(runs.high().value == 0.7);
    CHECK(runs.high().samples == 7);
    CHECK(runs.high().longest == 4);
    CHECK(runs.high().runs == 2);
    CHECK(runs.low().value == -0.4);
    CHECK(runs.low().samples == 4);
    CHECK(runs.low().longest == 3);
    CHECK(runs.low().runs == 1);
    CHECK(runs.longest() == 4);
    CHECK(test::within_abs(runs.share().value(), 100.0 * 11.0 / 21.0, 1e-9));
  }
}

TEST_CASE("flat runs: a limit at one code shows long runs in 16 bits, 24 bits and float") {
  for (const double step : {step16, step24, 1e-12}) {
    for (const double limit : {1.0 - step16, 0.8, 0.31}) {
      CAPTURE(step);
      CAPTURE(limit);
      const double peak = 1.2 * limit;
      const FlatRuns runs = runs_of(recorded(997.0, peak, limit, step, 1e-4, 0.0));
      const auto innocent = longest_innocent_run(step, peak, Hertz(997.0), Hertz(48000.0));
      // 1.58 dB over: each plateau takes acos(1/1.2)/π of 48.1 samples, that is 9.
      CHECK(runs.high().longest >= 9);
      CHECK(runs.low().longest >= 9);
      CHECK(runs.longest() > innocent);
      CHECK(noise_would_show(1e-4, step, runs.longest()));
    }
  }
}

TEST_CASE("flat runs: an analog plateau scatters over codes, a clean sine stays within its crest") {
  // Noise of one code behind the limit: real plateaus never hold one code for long.
  const FlatRuns analog = runs_of(recorded(997.0, 0.6, 0.5, step16, 0.0, step16));
  CHECK(analog.longest() <= 3);
  for (const double hz : {50.0, 997.0, 5000.0}) {
    for (const double peak : {0.01, 0.5, 0.99}) {
      CAPTURE(hz);
      CAPTURE(peak);
      const FlatRuns clean = runs_of(recorded(hz, peak, 1.0, step16, 0.0, 0.0));
      CHECK(clean.longest() <= longest_innocent_run(step16, peak, Hertz(hz), Hertz(48000.0)));
    }
  }
}

TEST_CASE("flat runs: a crest is allowed little more than the longest that a clean sine has") {
  for (const double code : {327.0, 4000.0}) {
    // Its crest nearly rounds up, so the highest code is held as long as can be without dither.
    const double peak = (code + 0.49) * step16;
    const FlatRuns clean = runs_of(recorded(20.0, peak, 1.0, step16, 0.0, 0.0));
    const auto allowed = longest_innocent_run(step16, peak, Hertz(20.0), Hertz(48000.0));
    CHECK(clean.longest() > 15);
    CHECK(allowed >= clean.longest());
    // √1.5 for the half code that dither may add, and one sample for each end.
    CHECK(static_cast<double>(allowed) <=
          std::sqrt(1.5) * static_cast<double>(clean.longest()) + 3.0);
  }
}

TEST_CASE("flat runs: without noise to speak of, one code proves nothing") {
  CHECK_FALSE(noise_would_show(0.0, step16, 20));
  CHECK_FALSE(noise_would_show(0.05 * step16, step16, 20));
  CHECK(noise_would_show(step16, step16, 20));
  CHECK_FALSE(noise_would_show(0.5 * step16, step16, 3));
}

TEST_CASE("flat runs: samples that are no numbers end a run and count as nothing") {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const FlatRuns runs = runs_of({0.5, 0.5, nan, 0.5, -std::numeric_limits<double>::infinity()});
  CHECK(runs.high().value == 0.5);
  CHECK(runs.high().longest == 2);
  CHECK(runs.high().samples == 3);
  CHECK(FlatRuns().share() == Percent(0.0));
}

// Flat peaks in music: found at the level of the rail, and not where a limiter or a soft clipper
// was at work. What is right comes from how the recording was made.

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;

namespace {

constexpr double rate = 48000.0;

std::pair<FlatPeaks, FlatPeaks> peaks_of(const std::vector<double>& x, std::size_t block = 4096) {
  const auto [lowest, highest] = std::minmax_element(x.begin(), x.end());
  PeakShapes shapes(Hertz(rate), *lowest, *highest);
  for (std::size_t at = 0; at < x.size(); at += block)
    shapes.add(x.data() + at, 1, std::min(block, x.size() - at));
  return {shapes.positive(), shapes.negative()};
}

}  // namespace

TEST_CASE("flat peaks: a sweep down to 20 Hz has none, however wrongly a coupling is taken out") {
  std::vector<double> x(static_cast<std::size_t>(10.0 * rate));
  const double growth = std::log(20.0 / 20000.0) / 10.0;
  for (std::size_t n = 0; n < x.size(); ++n)
    x[n] = 0.4 * std::sin(2.0 * std::numbers::pi * 20000.0 / growth *
                          std::expm1(growth * static_cast<double>(n) / rate));
  const auto [up, down] = peaks_of(x);
  CHECK(up.evidence < 1.0);
  CHECK(down.evidence < 1.0);
}

TEST_CASE("flat peaks: music cut by 3 dB on either rail has them, at the rail") {
  Random random(7);
  const auto music = made_music(random, rate, 8.0);
  PlayedChain chain{0.5, 0.708, 0.708, 5.0, 1e-4, 16};
  const auto [up, down] = peaks_of(recorded_through(chain, music, rate, random));
  CHECK(up.evidence > 6.0);
  CHECK(down.evidence > 6.0);
  // The tops of one rail may scatter by 5 %: a coupling between two corners tried leaves drift.
  CHECK(within_rel(up.level, 0.354, 0.05));
  CHECK(within_rel(down.level, 0.354, 0.05));
  CHECK(up.longest > Seconds(0.0));
}

TEST_CASE("flat peaks: music that is not cut has none, mastered or not") {
  for (const auto mastering : {Mastering::none, Mastering::limiter, Mastering::soft_clipper}) {
    Random random(8);
    const auto music = mastered(random, made_music(random, rate, 8.0), rate, mastering);
    const auto [up, down] = peaks_of(recorded_through({}, music, rate, random));
    CHECK(up.evidence < 3.0);
    CHECK(down.evidence < 3.0);
  }
}

TEST_CASE("flat peaks: a rail on one side is found on that side") {
  Random random(9);
  const auto music = made_music(random, rate, 8.0);
  const auto [up, down] =
      peaks_of(recorded_through({0.5, 0.5, std::nullopt, 2.0, 1e-4, 24}, music, rate, random));
  CHECK(up.evidence > 6.0);
  CHECK(down.evidence < 3.0);
}

TEST_CASE("flat peaks: how the stream is cut into blocks makes no difference") {
  Random random(10);
  const auto music = made_music(random, rate, 2.0);
  const auto x = recorded_through({0.5, 0.6, 0.6, 10.0, 1e-4, 16}, music, rate, random);
  const auto [up, down] = peaks_of(x, 4096);
  const auto [up_again, down_again] = peaks_of(x, 7);
  CHECK(up.evidence == up_again.evidence);
  CHECK(up.flat == up_again.flat);
  CHECK(down.level == down_again.level);
}

TEST_CASE("flat peaks: silence and a handful of samples have no peaks") {
  const auto [up, down] = peaks_of(std::vector<double>(20, 0.0));
  CHECK(up.all == 0);
  CHECK(down.evidence == 0.0);
}
