// SPDX-License-Identifier: MIT
// The folded cycle: the picture of the waveform, its plateaus, and whether it agrees with the
// model.
#include "measure/folded_cycle.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "measure/tone.hpp"
#include "support/basics.hpp"
#include "support/clipped_tone.hpp"

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;
using std::numbers::pi;

namespace {

struct Judged {
  ClippedSineFit fit;
  FoldReading fold;
};

std::size_t orders_below_nyquist(double hz) {
  return std::min<std::size_t>(200, static_cast<std::size_t>(23900.0 / hz));
}

/// Records a tone, measures it, fits the model and folds it: both ways of finding plateaus.
Judged judge(const Phasors& tone, const Recorded& as, std::uint64_t seed = 11) {
  Random random(seed);
  const auto samples = samples_of(tone, as, 24, random);
  const auto block = BlockMeter(Hertz(as.rate)).measure(samples);
  REQUIRE(block.tone);
  Judged judged{fit_clipped_sine(block.series), {}};
  CycleFold fold;
  // The block's phase is a cosine's; a sine crosses upwards a quarter of a cycle later.
  fold.add(samples, block.start_phase / (2.0 * pi) + 0.25,
           block.series.fundamental.value() / as.rate);
  judged.fold = read_fold(fold.points(), block.series.fundamental, judged.fit.coupling);
  return judged;
}

double plateau_percent(double overdrive_db) {
  return 100.0 * std::acos(std::pow(10.0, -overdrive_db / 20.0)) / pi;
}

}  // namespace

TEST_CASE("fold: a sine folds into one clean cycle, whatever the blocks it comes in") {
  std::vector<double> x(48000);
  const double step = 997.0 / 48000.0;
  for (std::size_t n = 0; n < x.size(); ++n) {
    x[n] = 0.5 * std::sin(2.0 * pi * (step * static_cast<double>(n) + 0.1));
  }
  CycleFold whole, parts;
  whole.add(x, 0.1, step);
  const std::span<const double> all(x);
  for (std::size_t at = 0; at < x.size(); at += 1000) {
    parts.add(all.subspan(at, 1000), 0.1 + step * static_cast<double>(at), step);
  }
  const auto points = whole.points();
  const auto same = parts.points();
  REQUIRE(points.size() == 256);
  REQUIRE(same.size() == 256);
  std::uint64_t counted = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    CHECK(within_abs(points[i].mean, 0.5 * std::sin(2.0 * pi * points[i].phase), 1e-4));
    CHECK(within_abs(same[i].mean, points[i].mean, 1e-4));
    CHECK(points[i].low <= points[i].mean);
    CHECK(points[i].high >= points[i].mean);
    counted += points[i].count;
  }
  CHECK(counted == x.size());
  whole.clear();
  CHECK(whole.points().empty());
}

TEST_CASE("fold: a cycle of 48 samples gives 48 points, not gaps") {
  std::vector<double> x(4800);
  for (std::size_t n = 0; n < x.size(); ++n) {
    x[n] = std::sin(2.0 * pi * static_cast<double>(n % 48) / 48.0);
  }
  CycleFold fold;
  fold.add(x, 1e-6, 1.0 / 48.0);
  const auto points = fold.points();
  CHECK(points.size() == 48);
  const auto reading = read_fold(points, Hertz(1000.0), Hertz(0.0));
  CHECK_FALSE(reading.positive.flat);
  CHECK_FALSE(reading.negative.flat);
}

TEST_CASE("fold: plateaus have the share of the cycle that the clip gives them, tilted or not") {
  for (const double hz : {50.0, 315.0, 997.0}) {
    for (const double corner_hz : {0.0, 6.0, 18.0}) {
      for (const double db : {0.2, 0.5, 1.0, 3.0}) {
        CAPTURE(hz);
        CAPTURE(corner_hz);
        CAPTURE(db);
        const auto tone =
            through(clipped_sine(db, 0.5 * db, orders_below_nyquist(hz)), hz, coupling(corner_hz));
        const auto judged = judge(tone, {hz, 0.6, 60.0});
        CHECK(judged.fold.positive.flat);
        CHECK(judged.fold.negative.flat);
        // A cycle at 997 Hz has 48 samples and 24 harmonics: its corners are rounded.
        CHECK(within_abs(judged.fold.positive.share.value(), plateau_percent(db), 1.0));
        CHECK(within_abs(judged.fold.negative.share.value(), plateau_percent(0.5 * db), 1.0));
        CHECK(compare(judged.fold, judged.fit) != Agreement::disagree);
        if (db >= 0.5) CHECK(compare(judged.fold, judged.fit) == Agreement::agree);
      }
    }
  }
}

TEST_CASE("fold: the upright cycle of a tilted clip is level on its plateaus") {
  const auto judged =
      judge(through(clipped_sine(3.0, 3.0, 200), 50.0, coupling(15.0)), {50.0, 0.6, 80.0});
  double least = 1.0, most = -1.0;
  for (const FoldedPoint& point : judged.fold.upright) {
    const double from_crest = point.phase - 0.25 - std::atan(15.0 / 50.0) / (2.0 * pi);
    if (std::abs(from_crest) > 0.1) continue;  // 3 dB are flat for ±0.125 cycles
    least = std::min(least, point.mean);
    most = std::max(most, point.mean);
  }
  CHECK(within_abs(most, 0.6 * std::pow(10.0, -3.0 / 20.0), 0.005));
  CHECK(most - least < 0.01 * most);
}

TEST_CASE("fold: one flat rail is one plateau") {
  const auto judged =
      judge(through(clipped_sine(0.0, 0.8, 24), 997.0, coupling(5.0)), {997.0, 0.6, 60.0});
  CHECK_FALSE(judged.fold.positive.flat);
  CHECK(judged.fold.negative.flat);
  CHECK(within_abs(judged.fold.negative.share.value(), plateau_percent(0.8), 1.0));
  CHECK(compare(judged.fold, judged.fit) == Agreement::agree);
}

TEST_CASE("fold: bends, crossover and slewing show no plateau") {
  for (const double hz : {50.0, 997.0}) {
    CAPTURE(hz);
    const std::size_t orders = orders_below_nyquist(hz);
    std::vector<Phasors> tones{
        shaped_sine([](double x) { return std::tanh(0.5 * x); }, orders),
        shaped_sine([](double x) { return std::tanh(x); }, orders),
        shaped_sine([](double x) { return x - 0.1 * x * x * x; }, orders),
        shaped_sine([](double x) { return x - 0.05 * x * x; }, orders),
        shaped_sine([](double x) { return x > 0.1    ? x - 0.1
                                          : x < -0.1 ? x + 0.1
                                                     : 0.0; }, orders),
        harmonics_of_cycle(slew_limited_cycle(0.5), orders),
    };
    for (std::size_t i = 0; i < tones.size(); ++i) {
      CAPTURE(i);
      const auto judged = judge(tones[i], {hz, 0.6, 60.0});
      CHECK_FALSE(judged.fold.positive.flat);
      CHECK_FALSE(judged.fold.negative.flat);
      CHECK_FALSE(judged.fit.positive.flat);
      CHECK_FALSE(judged.fit.negative.flat);
      CHECK(compare(judged.fold, judged.fit) == Agreement::cannot_tell);
    }
  }
}

TEST_CASE("fold: plateaus rounded by a low-pass are still seen and agree with the model") {
  for (const double corner : {10000.0, 14000.0, 18000.0}) {
    CAPTURE(corner);
    const auto tone = through(clipped_sine(1.0, 1.0, 24), 997.0, butterworth4(corner));
    const auto judged = judge(tone, {997.0, 0.6, 60.0});
    CHECK(judged.fold.positive.flat);
    CHECK(judged.fold.negative.flat);
    CHECK(compare(judged.fold, judged.fit) == Agreement::agree);
  }
}

TEST_CASE("fold: the transfer curve is the law") {
  const double c = std::pow(10.0, -1.0 / 20.0);
  const auto judged = judge(clipped_sine(1.0, 1.0, 200), {50.0, 0.6, 80.0});
  REQUIRE(judged.fold.transfer.size() > 100);
  for (const TransferPoint& point : judged.fold.transfer) {
    const double law = 0.6 * std::clamp(point.input, -c, c);
    CHECK(within_abs(point.rising, law, 0.006));
    CHECK(within_abs(point.falling, law, 0.006));
  }
}

TEST_CASE("fold: a model that contradicts the picture is found out") {
  auto judged = judge(clipped_sine(1.0, 1.0, 24), {997.0, 0.6, 60.0});
  judged.fit.positive.flat = false;
  CHECK(compare(judged.fold, judged.fit) == Agreement::disagree);
  judged.fit.positive.flat = true;
  judged.fit.positive.plateau = Percent(3.0 * judged.fit.positive.plateau.value());
  CHECK(compare(judged.fold, judged.fit) == Agreement::disagree);
}

TEST_CASE("fold: too little to fold reads as nothing") {
  CHECK(read_fold({}, Hertz(1000.0), Hertz(0.0)).upright.empty());
  CHECK(compare({}, {}) == Agreement::cannot_tell);
}
