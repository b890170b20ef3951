// SPDX-License-Identifier: MIT
// Figures of short runs: sums, levels that do not ripple, and screens.
#include "measure/frame.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <vector>

#include "support/basics.hpp"

using namespace railtap::measure;
using railtap::test::within_abs;
using railtap::test::within_db;
using std::numbers::pi;

namespace {

std::vector<double> sine(double cycles_per_sample, double phase, double dc, std::size_t count) {
  std::vector<double> x(count);
  for (std::size_t n = 0; n < count; ++n) {
    x[n] = dc + 0.5 * std::sin(2.0 * pi * cycles_per_sample * static_cast<double>(n) + phase);
  }
  return x;
}

}  // namespace

TEST_CASE(
    "frame level: a sine of 20 Hz and up has the same level in every 0.1 s, within 0.05 dB, with "
    "dc too") {
  const FrameLevel level(4800);
  for (double hz = 20.0; hz < 60.0; hz += 0.7) {
    for (double phase = 0.0; phase < 6.0; phase += 0.5) {
      CAPTURE(hz);
      CHECK(within_db(std::sqrt(level.figures(sine(hz / 48000.0, phase, 0.1, 4800)).mean_square),
                      std::sqrt(0.125), 0.05));
    }
  }
}

TEST_CASE("frame figures: merging two runs is the same as measuring them as one") {
  const auto x = sine(0.0123, 0.4, 0.02, 1000);
  FrameFigures merged = figures(std::span(x).first(317));
  merged.merge(figures(std::span(x).subspan(317)));
  const FrameFigures whole = figures(x);
  CHECK(merged.frames == whole.frames);
  CHECK(merged.highest == whole.highest);
  CHECK(merged.lowest == whole.lowest);
  CHECK(within_abs(merged.mean_square_ac(), whole.mean_square_ac(), 1e-14));
}

TEST_CASE("tone screen: fundamental and residual are told apart") {
  auto x = sine(0.02, 0.4, 0.0, 48000);
  for (std::size_t n = 0; n < x.size(); ++n) x[n] += 0.01 * std::sin(0.7 * static_cast<double>(n));
  ToneScreener screener;
  screener.tune(0.02);
  const ToneScreen screen = screener.screen(x, figures(x));
  CHECK(within_abs(screen.fundamental, 0.125, 1e-5));
  CHECK(within_abs(screen.residual, 0.5e-4, 1e-6));
}

TEST_CASE("frame level: the figures taken along with it are those of the frame") {
  const auto x = sine(0.0123, 0.4, 0.02, 4800);
  const FrameFigures along = FrameLevel(4800).figures(x).plain;
  const FrameFigures alone = figures(x);
  CHECK(along.frames == alone.frames);
  CHECK(along.highest == alone.highest);
  CHECK(along.lowest == alone.lowest);
  CHECK(railtap::test::within_abs(along.sum, alone.sum, 1e-9));
  CHECK(railtap::test::within_rel(along.sum_of_squares, alone.sum_of_squares, 1e-12));
}

TEST_CASE("full-scale runs: the outermost codes count, at either side alone and across blocks") {
  constexpr double highest_code = 32767.0 / 32768.0;  // of 16 bits
  const auto runs_in = [](const std::vector<std::vector<double>>& blocks) {
    FullScaleRuns runs;
    runs.positive_limit = highest_code;
    for (const auto& block : blocks) runs.add(block, figures(block));
    return runs;
  };
  const FullScaleRuns above = runs_in({{0.1, highest_code}, {highest_code, highest_code, 0.2}});
  CHECK(above.samples == 3);
  CHECK(above.longest == 3);
  const FullScaleRuns below = runs_in({{-1.0, -1.0, -0.5, -1.0}});
  CHECK(below.samples == 3);
  CHECK(below.longest == 2);
  // One code inside is not full scale, and from one side to the other is no run.
  CHECK(runs_in({{32766.0 / 32768.0, -32767.0 / 32768.0}}).samples == 0);
  CHECK(runs_in({{highest_code, -1.0}}).longest == 1);
}
