// SPDX-License-Identifier: MIT
// A tone whose level moves: what is read for the middle of a block, and what is left over.

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <vector>

#include <doctest/doctest.h>

#include "measure/level_stretches.hpp"
#include "measure/moving_tone.hpp"
#include "measure/tone_fit.hpp"
#include "support/basics.hpp"
#include "support/clipped_tone.hpp"
#include "support/onset_of.hpp"
#include "support/turned_tone.hpp"

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;
using std::numbers::pi;

namespace {

constexpr double rate = 48000.0;

// Σ over orders of `harmonic(level in dB, k)`·cos(kθ): a law's harmonics at the level of the
// moment.
std::vector<double> moving(double hz, double seconds, double first_db, double db_per_s,
                           std::size_t orders,
                           const std::function<double(double, std::size_t)>& harmonic) {
  std::vector<double> x(static_cast<std::size_t>(seconds * rate));
  const double middle = 0.5 * static_cast<double>(x.size() - 1) / rate;
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / rate - middle;
    const double level = first_db + db_per_s * t;
    for (std::size_t k = 1; k <= orders; ++k) {
      x[n] += harmonic(level, k) *
              std::cos(2.0 * pi * hz * static_cast<double>(k) * t + 0.4 * static_cast<double>(k));
    }
  }
  return x;
}

struct Fitted {
  MovingTone tone;
  double residual = 0.0;  // RMS re that of the fundamental
};

Fitted fitted(const std::vector<double>& x, double hz, std::size_t orders) {
  Fitted result;
  MovingToneFitter fitter;
  fitter.fit(x, hz / rate, orders, result.tone);
  std::vector<double> left(x.size());
  fitter.residual(x, left);
  double squares = 0.0;
  for (const double value : left) squares += value * value;
  result.residual =
      std::sqrt(2.0 * squares / static_cast<double>(x.size())) / std::abs(result.tone.phasor[0]);
  return result;
}

double distortion(const MovingTone& tone) {
  double squares = 0.0;
  for (std::size_t k = 1; k < tone.phasor.size(); ++k) squares += std::norm(tone.phasor[k]);
  return std::sqrt(squares) / std::abs(tone.phasor[0]);
}

}  // namespace

TEST_CASE("moving tone: a clean tone that rises by 20 dB/s is no distortion") {
  for (const double hz : {50.0, 997.0}) {
    const double seconds = hz < 100.0 ? 0.08 : 0.04;
    const auto x = moving(hz, seconds, -20.0, 20.0, 1,
                          [](double level, std::size_t) { return std::pow(10.0, level / 20.0); });
    const Fitted f = fitted(x, hz, 20);
    // A tenth of a neper to each side of the middle: u³/6 of that, about 1e-4, less what the lower
    // orders take of it.
    CHECK(f.residual < 1e-4);
    CHECK(distortion(f.tone) < 1e-4);
    CHECK(within_db(std::abs(f.tone.phasor[0]), 0.1, 0.001));
    CHECK(within_abs(f.tone.rise_db, 20.0 * seconds, 0.01));
  }
}

TEST_CASE("moving tone: a steady tone is read as the steady fit reads it") {
  const auto x = moving(997.0, 0.1, -6.0, 0.0, 5,
                        [](double, std::size_t k) { return 0.5 / static_cast<double>(k * k); });
  const Fitted f = fitted(x, 997.0, 5);
  ToneFitter steady;
  ToneFit fit;
  steady.fit_known_frequency(x, 997.0 / rate, 5, fit);
  for (std::size_t k = 0; k < 5; ++k) {
    CHECK(std::abs(f.tone.phasor[k] - fit.phasor[k]) < 1e-9);
  }
  CHECK(within_abs(f.tone.rise_db, 0.0, 1e-6));
}

TEST_CASE("moving tone: over a corner that comes up within the block, the middle is the middle's") {
  // 0.251 dB over both rails has 1 % of THD (docs/method.md, closed form). 1.6 dB within the block:
  // at its start there is no clipping at all.
  const auto clipped = [](double level, std::size_t k) {
    const double peak = std::pow(10.0, level / 20.0);
    if (level <= 0.0) return k == 1 ? peak : 0.0;
    return peak * std::abs(clipped_sine(level, level, 20)[k - 1]) *
           (k % 4 == 1 || k % 4 == 2 ? 1.0 : -1.0);
  };
  for (const double hz : {50.0, 997.0}) {
    CAPTURE(hz);
    const auto x = moving(hz, 0.08, 0.251, 20.0, 20, clipped);
    const Fitted f = fitted(x, hz, 20);
    CHECK(within_abs(100.0 * distortion(f.tone), 1.0, 0.06));
    CHECK(f.residual < 0.005);
  }
}

TEST_CASE("moving tone: a control behind the stage moves all harmonics together") {
  const auto x = moving(997.0, 0.08, -6.0, -20.0, 7, [](double level, std::size_t k) {
    return std::pow(10.0, level / 20.0) / static_cast<double>(k * k * k);
  });
  const Fitted f = fitted(x, 997.0, 7);
  for (std::size_t k = 2; k <= 7; ++k) {
    const double ratio = std::abs(f.tone.phasor[k - 1]) / std::abs(f.tone.phasor[0]);
    CHECK(within_rel(ratio, 1.0 / static_cast<double>(k * k * k), 1e-3));
  }
  CHECK(within_abs(f.tone.rise_db, -1.6, 0.01));
}

TEST_CASE("moving tone: in few cycles the envelopes are simpler, and two are enough") {
  for (const double cycles : {2.2, 3.2, 4.2}) {
    const auto x = moving(50.0, cycles / 50.0, -6.0, 0.0, 3,
                          [](double, std::size_t k) { return k == 1 ? 0.5 : 0.01; });
    const Fitted f = fitted(x, 50.0, 3);
    CHECK(f.tone.degree == (cycles > 4.0 ? 2 : (cycles > 3.0 ? 1 : 0)));
    CHECK(within_rel(std::abs(f.tone.phasor[2]), 0.01, 1e-3));
  }
}

// A level that is turned by hand, cut into rests and slices.

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;

namespace {

Stage clean_stage(double hz = 997.0) {
  Stage stage;
  stage.hz = hz;
  stage.law = [](double x) { return x; };
  stage.chain = coupling(5.0);
  stage.scale = 0.5;
  stage.noise_rms = 1e-5;
  return stage;
}

std::vector<Step> cut(const std::vector<Turned>& turns, double hz = 997.0) {
  Random random(3);
  const Stage stage = clean_stage(hz);
  const auto x = turn(turned_level(-30.0, turns, stage.rate), stage, 5.0, 24, random);
  const auto track = track_of(x, Hertz(stage.rate));
  return cut_turned(track, find_plateaus(track));
}

double seconds(const Step& step) {
  return static_cast<double>(step.inner_end - step.inner_first) / 48000.0;
}

}  // namespace

TEST_CASE("turned level: the track knows the tone") {
  Random random(3);
  const Stage stage = clean_stage(123.4);
  const auto x = turn(turned_level(-30.0, {{20.0, 2.0}}, stage.rate), stage, 5.0, 24, random);
  const auto track = track_of(x, Hertz(stage.rate));
  REQUIRE(track.tone);
  CHECK(within_abs(track.tone->value(), 123.4, 0.05));
  CHECK_FALSE(track_of(std::vector<double>(48000, 0.0), Hertz(48000.0)).tone);
}

TEST_CASE("turned level: rests are steps, what lies between them is slices of 0.8 dB or 0.12 s") {
  const auto steps = cut({{0.0, 1.0}, {10.0, 2.0}, {0.0, 0.8}, {-6.0, 0.4}, {0.0, 1.0}});
  double risen = 0.0;
  for (const Step& step : steps) {
    if (!step.gliding) continue;
    CHECK(seconds(step) >= 0.04 - 1e-9);
    CHECK(seconds(step) <= 0.12 + 1e-9);
    CHECK(std::abs(step.rise_db) < 1.3);
    risen += std::abs(step.rise_db);
  }
  CHECK(within_abs(risen, 16.0, 3.0));  // the ends of a turn are in the rests' trimmed edges
  for (std::size_t i = 0; i + 1 < steps.size(); ++i) {
    CHECK(steps[i].inner_end <= steps[i + 1].inner_first);
    CHECK(steps[i].index == static_cast<int>(i));
  }
}

TEST_CASE("turned level: slices of a low tone hold four cycles") {
  for (const Step& step : cut({{0.0, 0.3}, {20.0, 1.0}, {0.0, 0.3}}, 45.0)) {
    if (step.gliding) CHECK(seconds(step) >= 4.0 / 45.0);
  }
}

TEST_CASE("turned level: a jump is no turn, and a volume that goes in clicks has rests only") {
  Random random(3);
  std::vector<Played> stretches;
  for (int i = 0; i < 8; ++i) stretches.push_back({-20.0 + 1.5 * i, 0.8});
  const auto x = play(stretches, clean_stage(), random, 0.01);
  const auto track = track_of(x, Hertz(48000.0));
  const auto steps = cut_turned(track, find_plateaus(track));
  CHECK(steps.size() == 8);
  for (const Step& step : steps) CHECK_FALSE(step.gliding);
}

namespace {

// A tone with a slow modulation of its speed (relative, peak) and of its amplitude (relative), both
// as cosines of `per_s`, in noise; 6 s.
std::vector<double> wavering(double hz, double speed, double amplitude, double per_s) {
  Random random(11);
  Gaussian noise(0.0, 3e-4);
  std::vector<double> x(static_cast<std::size_t>(6.0 * rate));
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    const double phase = hz * speed / per_s * std::sin(2.0 * pi * per_s * t);
    x[n] = 0.4 * (1.0 + amplitude * std::cos(2.0 * pi * per_s * t)) *
               std::sin(2.0 * pi * hz * t + phase) +
           noise(random);
  }
  return x;
}

FollowedTone followed(const std::vector<double>& x) {
  ToneFollower follower{Hertz(rate)};
  follower.add(x, 0.4);
  return follower.finish();
}

}  // namespace

TEST_CASE("followed tone: the speed's deviation and rate are those that were made") {
  for (const double per_s : {0.5, 1.0, 3.0}) {
    for (const double percent : {0.2, 1.0}) {
      CAPTURE(per_s);
      CAPTURE(percent);
      const FollowedTone tone = followed(wavering(1000.0, percent / 100.0, 0.0, per_s));
      CHECK(within_abs(tone.frequency.value(), 1000.0, 0.5));
      CHECK(within_abs(100.0 * std::numbers::sqrt2 * tone.speed, percent, 0.02 * percent));
      CHECK(within_abs(wavering_rate(tone).value(), per_s, 0.1 * per_s));
      CHECK(std::abs(tone.turns - 2.0 * per_s * 6.0) <= 2.0);
      CHECK(tone.amplitude < 1e-3);
      CHECK_FALSE(tone_beside(tone));
    }
  }
}

TEST_CASE("followed tone: a second tone close by is placed, above and below, and its size told") {
  for (const double beside : {-1.5, -0.5, 0.5, 1.5}) {
    for (const double share : {0.02, 0.1}) {
      CAPTURE(beside);
      CAPTURE(share);
      std::vector<double> x = wavering(60.0, 0.0, 0.0, 1.0);
      for (std::size_t n = 0; n < x.size(); ++n)
        x[n] += 0.4 * share *
                std::sin(2.0 * pi * (60.0 + beside) * static_cast<double>(n) / rate + 1.0);
      const auto found = tone_beside(followed(x));
      REQUIRE(found);
      CHECK(within_abs(found->frequency.value(), 60.0 + beside, 0.05));
      CHECK(within_abs(found->amplitude, share, 0.05 * share));
    }
  }
}

TEST_CASE("followed tone: a level that goes up and down has no tone beside it") {
  CHECK_FALSE(tone_beside(followed(wavering(60.0, 0.0, 0.03, 0.5))));
  CHECK_FALSE(tone_beside(followed(wavering(1000.0, 0.0, 0.1, 2.0))));
}

TEST_CASE("followed tone: it is not followed across a pause, nor to another pitch") {
  std::vector<double> x = wavering(1000.0, 0.0, 0.0, 1.0);
  for (std::size_t n = 96000; n < 100000; ++n) x[n] = 0.0;
  const FollowedTone longest = followed(x);
  CHECK(within_abs(static_cast<double>(longest.frames), 288000.0 - 100000.0, 3000.0));
  std::vector<double> y = wavering(1000.0, 0.0, 0.0, 1.0);
  const std::vector<double> higher = wavering(1200.0, 0.0, 0.0, 1.0);
  std::copy(higher.begin() + 190000, higher.end(), y.begin() + 190000);
  CHECK(within_abs(static_cast<double>(followed(y).frames), 190000.0, 3000.0));
}
