// SPDX-License-Identifier: MIT
// Whole recordings that must not be called flat-topped, and whole recordings that must.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include "measure/clipped_sine.hpp"
#include "measure/folded_cycle.hpp"
#include "measure/tone.hpp"
#include "support/basics.hpp"
#include "support/clipped_tone.hpp"

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;
using std::numbers::pi;

namespace {

constexpr double rate = 48000.0;

/// A sine whose level drifts and whose speed wavers, as belts, heaters and tired supplies do.
std::vector<double> drifting(Random& random, double hz) {
  std::vector<double> x(48000);
  const double drift = between(random, -0.05, 0.05);
  const double sway = between(random, 0.0, 0.02);
  const double sway_hz = log_between(random, 0.2, 30.0);
  const double waver = log_between(random, 1e-7, 1e-4);
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    const double level = 1.0 + drift * t + sway * std::sin(2.0 * pi * sway_hz * t);
    x[n] = 0.5 * level * std::sin(2.0 * pi * hz * (t + waver * std::sin(5.0 * t)) + 0.4);
  }
  return x;
}

/// A limiter that holds the level: fast attack, slow release, so its gain ripples with the tone.
std::vector<double> limited(Random& random, double hz) {
  std::vector<double> x(96000);
  const double threshold = 0.5;
  const double drive = threshold * std::pow(10.0, between(random, 1.0, 12.0) / 20.0);
  const double attack = std::exp(-1.0 / (log_between(random, 1e-3, 2e-2) * rate));
  const double release = std::exp(-1.0 / (log_between(random, 0.1, 2.0) * rate));
  double envelope = threshold;
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double input = drive * std::sin(2.0 * pi * hz / rate * static_cast<double>(n));
    const double size = std::abs(input);
    const double pole = size > envelope ? attack : release;
    envelope = pole * envelope + (1.0 - pole) * size;
    x[n] = input * std::min(1.0, threshold / envelope);
  }
  return {x.begin() + 48000, x.end()};
}

void add_line(std::vector<double>& x, double hz, double peak, double phase) {
  for (std::size_t n = 0; n < x.size(); ++n) {
    x[n] += peak * std::sin(2.0 * pi * hz / rate * static_cast<double>(n) + phase);
  }
}

/// Mains hum with its odd harmonics, an alternator's whine, or both.
void add_interference(Random& random, std::vector<double>& x) {
  const double mains = between(random, 0.0, 1.0) < 0.5 ? 50.0 : 60.0;
  const double level = log_between(random, 1e-5, 2e-2);
  for (int k = 1; k < 12; k += 2) add_line(x, k * mains, level / k, between(random, 0.0, 6.28));
  const double whine = log_between(random, 300.0, 6000.0);
  for (int k = 1; k < 4; ++k) add_line(x, k * whine, 0.3 * level / k, between(random, 0.0, 6.28));
}

void add_noise_and_round(Random& random, std::vector<double>& x) {
  Gaussian noise(0.0, log_between(random, 1e-6, 1e-2));
  const double code = std::ldexp(1.0, between(random, 0.0, 1.0) < 0.5 ? -15 : -23);
  for (double& value : x) {
    value += noise(random);
    value =
        code * std::round(value / code + between(random, -0.5, 0.5) + between(random, -0.5, 0.5));
  }
}

struct Verdict {
  bool tone = false;
  bool flat = false;
  bool plateau = false;
  ClippedSineFit fit;
};

Verdict judge(BlockMeter& meter, const std::vector<double>& x) {
  Verdict verdict;
  const auto block = meter.measure(x);
  if (!block.tone) return verdict;
  verdict.tone = true;
  verdict.fit = fit_clipped_sine(block.series);
  verdict.flat = verdict.fit.positive.flat || verdict.fit.negative.flat;
  CycleFold fold;
  fold.add(x, block.start_phase / (2.0 * pi) + 0.25, block.series.fundamental.value() / rate);
  const auto reading = read_fold(fold.points(), block.series.fundamental, verdict.fit.coupling);
  verdict.plateau = reading.positive.flat || reading.negative.flat;
  return verdict;
}

}  // namespace

TEST_CASE(
    "trials: drifting, humming, whining, noisy and limited recordings are never called flat") {
  Random random(4711);
  BlockMeter meter{Hertz(rate)};
  int tones = 0, false_alarms = 0;
  for (int trial = 0; trial < 800; ++trial) {
    const double hz = trial % 3 == 0   ? 50.0
                      : trial % 3 == 1 ? 997.0
                                       : log_between(random, 20.0, 4000.0);
    const bool limiter = between(random, 0.0, 1.0) < 0.4;
    auto x = limiter ? limited(random, hz) : drifting(random, hz);
    if (between(random, 0.0, 1.0) < 0.5) add_interference(random, x);
    add_noise_and_round(random, x);
    const auto verdict = judge(meter, x);
    tones += verdict.tone ? 1 : 0;
    if (!verdict.flat) continue;
    ++false_alarms;
    MESSAGE((limiter ? "limiter" : "drift")
            << " at " << hz << " Hz: +" << verdict.fit.positive.overdrive.value() << " −"
            << verdict.fit.negative.overdrive.value() << " model "
            << static_cast<int>(verdict.fit.model));
  }
  CHECK(false_alarms == 0);
  CHECK(tones > 600);  // else nothing was tested
}

TEST_CASE("trials: clipping under hum, whine and hiss is still called flat") {
  Random random(4712);
  BlockMeter meter{Hertz(rate)};
  int missed = 0, wrong = 0;
  double worst = 0.0;
  for (int trial = 0; trial < 300; ++trial) {
    const double hz = trial % 2 == 0 ? 57.0 : 997.0;
    const double db = log_between(random, 0.3, 3.0);
    const auto tone =
        through(clipped_sine(db, db, static_cast<std::size_t>(std::min(120.0, 23900.0 / hz))), hz,
                coupling(between(random, 0.0, 20.0)));
    auto x = samples_of(tone, {hz, 0.5, 200.0}, 0, random);
    add_interference(random, x);
    Gaussian noise(0.0, log_between(random, 1e-5, 2e-3));
    for (double& value : x) value += noise(random);
    const auto verdict = judge(meter, x);
    REQUIRE(verdict.tone);
    if (!verdict.fit.positive.flat || !verdict.fit.negative.flat) {
      ++missed;
      MESSAGE("missed " << db << " dB at " << hz << " Hz: model "
                        << static_cast<int>(verdict.fit.model) << ", explained "
                        << verdict.fit.explained << ", decidable " << verdict.fit.decidable
                        << ", misfit " << verdict.fit.residual_re_noise << ", +"
                        << verdict.fit.positive.overdrive.value() << ", slope "
                        << verdict.fit.positive.crest_slope);
      continue;
    }
    const double error = std::abs(verdict.fit.positive.overdrive.value() - db);
    worst = std::max(worst, error);
    wrong += error > 0.02 ? 1 : 0;
  }
  MESSAGE("worst error under interference " << worst << " dB");
  CHECK(missed == 0);
  CHECK(wrong == 0);
}
