// SPDX-License-Identifier: MIT
// A thousand random chains between the track and the recording: which channel is where, and which
// way up, must never be wrong, and may be left open once in a hundred.
#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <string>
#include <vector>

#include "judge/channel_identity.hpp"
#include "measure/marker.hpp"
#include "signal/generator.hpp"
#include "support/basics.hpp"

using namespace railtap;
using judge::Carries;
using judge::Polarity;
using test::between;
using test::log_between;
using test::one_of;
using test::Random;

namespace {

constexpr double rate = 48000.0;

struct Stereo {
  std::vector<double> left, right;
};

// The kit's channel pattern and polarity pulses with their markers, a second of silence around.
Stereo played() {
  const signal::Track track{
      "t",
      "",
      "",
      "",
      "",
      {{signal::ChannelPattern{Dbfs(-15)}, signal::Channels::both, signal::MarkerBand::mid},
       {signal::PolarityPulses{Hertz(500), Dbfs(-15), Seconds(4)}, signal::Channels::both,
        signal::MarkerBand::mid}}};
  signal::Generator generator(track, Hertz(rate), signal::highest_float_peak);
  std::vector<double> stereo(static_cast<std::size_t>(generator.frames()) * 2);
  generator.render(stereo);
  const std::size_t silence = 48000;
  Stereo out{std::vector<double>(silence, 0.0), std::vector<double>(silence, 0.0)};
  for (std::size_t n = 0; n < stereo.size(); n += 2) {
    out.left.push_back(stereo[n]);
    out.right.push_back(stereo[n + 1]);
  }
  out.left.insert(out.left.end(), silence, 0.0);
  out.right.insert(out.right.end(), silence, 0.0);
  return out;
}

// A Butterworth filter as a cascade of sections by the bilinear transform, orders 1 to 4
// [Oppenheim, Schafer, Discrete-Time Signal Processing, 7.1].
void butterworth(std::vector<double>& x, double corner_hz, int order, bool high) {
  const double k = std::tan(std::numbers::pi * corner_hz / rate);
  if (order % 2 == 1) {
    const double a1 = (k - 1.0) / (k + 1.0);
    const double b0 = high ? 1.0 / (k + 1.0) : k / (k + 1.0), b1 = high ? -b0 : b0;
    double x1 = 0.0, y1 = 0.0;
    for (double& v : x) {
      y1 = b0 * v + b1 * x1 - a1 * y1;
      x1 = v;
      v = y1;
    }
  }
  for (int s = 0; s < order / 2; ++s) {
    const double d = 2.0 * std::sin(std::numbers::pi * (2.0 * s + 1.0) / (2.0 * order));
    const double a0 = 1.0 + d * k + k * k;
    const double b0 = (high ? 1.0 : k * k) / a0, b1 = high ? -2.0 * b0 : 2.0 * b0;
    const double a1 = 2.0 * (k * k - 1.0) / a0, a2 = (1.0 - d * k + k * k) / a0;
    double x1 = 0.0, x2 = 0.0, y1 = 0.0, y2 = 0.0;
    for (double& v : x) {
      const double y = b0 * v + b1 * x1 + b0 * x2 - a1 * y1 - a2 * y2;
      x2 = x1;
      x1 = v;
      y2 = y1;
      y1 = y;
      v = y;
    }
  }
}

// As a clock records it that makes everything `ratio` times as long, from `delay_s` on.
std::vector<double> resampled(const std::vector<double>& x, double ratio, double delay_s) {
  std::vector<double> out;
  out.reserve(static_cast<std::size_t>(static_cast<double>(x.size()) * ratio));
  for (double place = 1.0 + delay_s * rate; place < static_cast<double>(x.size()) - 3.0;
       place += 1.0 / ratio) {
    const auto n = static_cast<std::size_t>(place);
    const double p = place - static_cast<double>(n);
    // Four-point Lagrange.
    out.push_back(-p * (p - 1.0) * (p - 2.0) / 6.0 * x[n - 1] +
                  (p + 1.0) * (p - 1.0) * (p - 2.0) / 2.0 * x[n] -
                  (p + 1.0) * p * (p - 2.0) / 2.0 * x[n + 1] +
                  (p + 1.0) * p * (p - 1.0) / 6.0 * x[n + 2]);
  }
  return out;
}

// One channel's way: what it carries and what happens to that.
struct Chain {
  Carries carries = Carries::left;
  bool inverted = false;
  double gain = 1.0, crosstalk = 0.0;
  double coupling_hz = 1.0, high_hz = 20.0, low_hz = 20000.0;
  int high_order = 1, low_order = 1;
};

struct Trial {
  std::array<Chain, 2> chains;
  double clock_ratio, delay_s, noise_db;
};

Carries random_side(Random& random) {
  constexpr std::array<Carries, 4> sides{Carries::left, Carries::right, Carries::both,
                                         Carries::silent};
  return sides[static_cast<std::size_t>(one_of(random, 4))];
}

Trial draw(Random& random) {
  Trial trial{};
  for (Chain& chain : trial.chains) {
    chain.carries = random_side(random);
    chain.inverted = one_of(random, 2) == 1;
    chain.gain = log_between(random, 0.01, 2.0);
    chain.crosstalk = log_between(random, 1e-4, 0.05);
    chain.coupling_hz = log_between(random, 0.5, 20.0);
    chain.high_hz = log_between(random, 10.0, 60.0);
    chain.low_hz = log_between(random, 8000.0, 20000.0);
    chain.high_order = 1 + one_of(random, 4);
    chain.low_order = 1 + one_of(random, 4);
  }
  // At least one channel plays, else there is no marker and nothing to cut by.
  if (trial.chains[0].carries == Carries::silent && trial.chains[1].carries == Carries::silent)
    trial.chains[0].carries = Carries::left;
  trial.clock_ratio = between(random, 0.995, 1.005);
  trial.delay_s = between(random, 0.0, 0.9);
  trial.noise_db = between(random, 20.0, 60.0);
  return trial;
}

double weight(const Chain& chain, Carries side) {
  if (chain.carries == Carries::silent) return 0.0;
  return chain.carries == side || chain.carries == Carries::both ? 1.0 : chain.crosstalk;
}

std::vector<double> white_noise() {
  Random random(99);
  test::Gaussian gaussian(0.0, 1.0);
  std::vector<double> noise(20 * static_cast<std::size_t>(rate));
  for (double& v : noise) v = gaussian(random);
  return noise;
}

// The noise is that many decibels below the pulses as they arrive, in a silent channel below those
// of a channel that plays.
std::vector<double> recorded(const Stereo& track, const Trial& trial, const Chain& chain,
                             Random& random) {
  std::vector<double> x(track.left.size());
  const double left = weight(chain, Carries::left), right = weight(chain, Carries::right);
  for (std::size_t n = 0; n < x.size(); ++n) {
    x[n] = chain.gain * (chain.inverted ? -1.0 : 1.0) *
           (left * track.left[n] + right * track.right[n]);
  }
  butterworth(x, chain.coupling_hz, 1, true);
  butterworth(x, chain.high_hz, chain.high_order, true);
  butterworth(x, chain.low_hz, chain.low_order, false);
  x = resampled(x, trial.clock_ratio, trial.delay_s);
  const double sounding = std::max(1.0, left + right);  // both sides play the pulses
  const double noise_rms =
      chain.gain * sounding * sine_peak(Dbfs(-15.0 - trial.noise_db)) / std::numbers::sqrt2;
  // Twenty seconds of noise are enough for all, each from a place of its own.
  static const std::vector<double> noise = white_noise();
  std::size_t place = static_cast<std::size_t>(one_of(random, static_cast<int>(noise.size())));
  for (double& v : x) {
    v += noise_rms * noise[place];
    if (++place == noise.size()) place = 0;
  }
  return x;
}

struct Parts {
  std::optional<measure::PartPlace> pattern, pulses;
};

Parts parts_of(const std::vector<double>& x) {
  measure::MarkerFinder finder(signal::MarkerBand::mid, Hertz(rate));
  finder.add(x.data(), 1, x.size());
  Parts parts;
  for (const auto& marker : finder.finish()) {
    const measure::PartPlace place{marker.signal_frame, marker.clock_ratio};
    if (std::holds_alternative<signal::ChannelPattern>(marker.announced)) parts.pattern = place;
    if (std::holds_alternative<signal::PolarityPulses>(marker.announced)) parts.pulses = place;
  }
  return parts;
}

struct Tally {
  int judged = 0, wrong = 0, open = 0;
  template <class Verdict>
  void add(Verdict found, Verdict truth, Verdict cannot_tell, int seed) {
    ++judged;
    if (found == cannot_tell) {
      ++open;
    } else if (found != truth) {
      ++wrong;
      MESSAGE("chain ", seed, ": found ", std::string(judge::name(found)), " instead of ",
              std::string(judge::name(truth)));
    }
  }
};

struct Tallies {
  Tally identity, polarity;
  int without_marker = 0;
};

void run(int seed, const Stereo& track, Tallies& tallies) {
  Random random(static_cast<std::uint64_t>(seed));
  const Trial trial = draw(random);
  std::array<std::vector<double>, 2> x;
  Parts parts;
  for (std::size_t c = 0; c < 2; ++c) {
    x[c] = recorded(track, trial, trial.chains[c], random);
    const Parts found = parts_of(x[c]);
    if (found.pattern) parts.pattern = found.pattern;
    if (found.pulses) parts.pulses = found.pulses;
  }
  if (!parts.pattern || !parts.pulses) {
    ++tallies.without_marker;
    return;
  }
  for (std::size_t c = 0; c < 2; ++c) {
    const Chain& chain = trial.chains[c];
    const auto pattern = measure::measure_channel_pattern(x[c], Hertz(rate), *parts.pattern);
    tallies.identity.add(judge::judge_channel_identity(pattern, {}).carries, chain.carries,
                         Carries::cannot_tell, seed);
    if (chain.carries == Carries::silent) continue;
    const auto pulses = measure::measure_polarity(
        x[c], Hertz(rate), {Hertz(500), Dbfs(-15), Seconds(4)}, *parts.pulses);
    const auto verdict = judge::judge_polarity(measure::fit_polarity(pulses, {}), false);
    tallies.polarity.add(verdict.polarity, chain.inverted ? Polarity::inverted : Polarity::in,
                         Polarity::cannot_tell, seed);
  }
}

}  // namespace

TEST_CASE("identity and polarity: right in a thousand random chains") {
  constexpr int chains = 1000;
  const Stereo track = played();
  Tallies tallies;
  for (int seed = 1; seed <= chains; ++seed) run(seed, track, tallies);
  MESSAGE("channels judged ", tallies.identity.judged, ", left open ", tallies.identity.open,
          "; polarity judged ", tallies.polarity.judged, ", left open ", tallies.polarity.open);
  CHECK(tallies.without_marker == 0);
  CHECK(tallies.identity.wrong == 0);
  CHECK(tallies.polarity.wrong == 0);
  CHECK(tallies.identity.open * 100 <= tallies.identity.judged);
  CHECK(tallies.polarity.open * 100 <= tallies.polarity.judged);
}
