// SPDX-License-Identifier: MIT
// Music made of numbers, mastered and played through a chain.
#include "support/made_music.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <utility>

#include "support/clipped_tone.hpp"

namespace railtap::test {
namespace {

using std::numbers::pi;

/// A plucked note: partials that die away, the higher the sooner.
void add_note(std::vector<double>& x, double rate, std::size_t start, double hz, double level,
              Random& random) {
  const double decay_s = between(random, 0.1, 0.6);
  const double tilt = between(random, 0.8, 2.0);
  const auto length = std::min(x.size() - start, static_cast<std::size_t>(3.0 * decay_s * rate));
  std::vector<double> note(length, 0.0);
  for (int k = 1; k <= 12 && k * hz < 0.4 * rate; ++k) {
    const double phase = between(random, 0.0, 2.0 * pi);
    const double peak = level / std::pow(k, tilt);
    // A sine is the real part of what begins a quarter of a turn before it.
    add_turning(
        note, std::polar(peak, phase - 0.5 * pi),
        std::polar(std::exp(-(1.0 + 0.3 * k) / (decay_s * rate)), 2.0 * pi * k * hz / rate));
  }
  for (std::size_t n = 0; n < length; ++n)
    x[start + n] += std::min(1.0, static_cast<double>(n) / (0.003 * rate)) * note[n];
}

/// A stroke on a drum: noise through a one-pole low-pass, of RMS `level` at first, over a skin's
/// tone.
void add_stroke(std::vector<double>& x, double rate, std::size_t start, double level,
                Random& random) {
  Gaussian noise;
  const double decay_s = log_between(random, 0.01, 0.15);
  const double keep = between(random, 0.8, 0.98);
  const double skin_hz = log_between(random, 50.0, 180.0);
  const double to_level = std::sqrt((1.0 + keep) / (1.0 - keep));
  const auto length = std::min(x.size() - start, static_cast<std::size_t>(5.0 * decay_s * rate));
  const double decay = std::exp(-1.0 / (decay_s * rate));
  double state = 0.0, now = level;
  for (std::size_t n = 0; n < length; ++n) {
    state = keep * state + (1.0 - keep) * noise(random);
    x[start + n] += now * to_level * state;
    now *= decay;
  }
  add_turning(std::span(x).subspan(start, length), {0.0, -3.0 * level},
              std::polar(decay, 2.0 * pi * skin_hz / rate));
}

void scale_to(std::vector<double>& x, double peak) {
  double highest = 1e-9;
  for (const double v : x) highest = std::max(highest, std::abs(v));
  for (double& v : x) v *= peak / highest;
}

/// Gain reduction that is ready before each peak: the lowest gain wanted within the look-ahead,
/// let go slowly, then smoothed over the look-ahead.
void limit(std::vector<double>& x, double drive, std::size_t ahead, double release) {
  const std::size_t count = x.size();
  std::vector<double> gain(count + ahead, 1.0);
  for (std::size_t n = 0; n < count; ++n) {
    const double wanted = std::min(1.0, 1.0 / std::max(1e-9, std::abs(drive * x[n])));
    const std::size_t first = n >= ahead ? n - ahead : 0;
    for (std::size_t k = first; wanted < 1.0 && k <= n + ahead && k < count; ++k)
      gain[k] = std::min(gain[k], wanted);
  }
  double held = 1.0, sum = 0.0;
  for (std::size_t n = 0; n < count; ++n) {
    held = gain[n] < held ? gain[n] : held + (gain[n] - held) * release;
    gain[n] = held;
  }
  std::vector<double> smooth(count);
  for (std::size_t n = 0; n < count; ++n) {
    sum += gain[n] - (n >= ahead ? gain[n - ahead] : 0.0);
    smooth[n] = sum / static_cast<double>(std::min(n + 1, ahead));
  }
  // The mean of the last `ahead` gains is at most the lowest wanted, as each is held that long.
  for (std::size_t n = 0; n < count; ++n) x[n] *= drive * smooth[n];
}

/// What a bass amplifier's filters leave of it.
std::vector<double> through_bass_filters(const PlayedChain& chain, std::vector<double> x,
                                         double rate) {
  if (chain.low_pass.order == 0) return x;
  for (int k = 0; k < chain.low_passes; ++k) {
    rig::Filter low_pass = rig::make_filter(rig::Pass::low, chain.low_pass, Hertz(rate));
    rig::process(low_pass, x);
  }
  rig::Filter subsonic = rig::make_filter(rig::Pass::high, chain.subsonic, Hertz(rate));
  rig::process(subsonic, x);
  scale_to(x, 1.0);
  return x;
}

}  // namespace

std::vector<double> made_music(Random& random, double rate, double seconds) {
  std::vector<double> x(static_cast<std::size_t>(seconds * rate), 0.0);
  const double beat_s = between(random, 0.2, 0.45);
  const double bass_hz = between(random, 40.0, 80.0);
  const double bass = log_between(random, 0.2, 1.0), drums = log_between(random, 0.1, 0.5);
  for (double t = 0.0; t < seconds - 0.1; t += beat_s) {
    const auto start = static_cast<std::size_t>(t * rate);
    add_note(x, rate, start, bass_hz * std::exp2(one_of(random, 12) / 12.0), bass, random);
    for (int voice = one_of(random, 4); voice >= 0; --voice) {
      add_note(x, rate, start, 220.0 * std::exp2(one_of(random, 24) / 12.0),
               between(random, 0.05, 0.3), random);
    }
    add_stroke(x, rate, start, drums * between(random, 0.3, 1.0), random);
  }
  scale_to(x, 1.0);
  return x;
}

std::vector<double> mastered(Random& random, std::vector<double> music, double rate,
                             Mastering mastering) {
  if (mastering == Mastering::limiter) {
    const double drive = std::pow(10.0, between(random, 2.0, 9.0) / 20.0);
    const auto ahead = static_cast<std::size_t>(log_between(random, 0.5e-3, 4e-3) * rate);
    limit(music, drive, ahead, 1.0 / (log_between(random, 0.02, 0.3) * rate));
  } else if (mastering == Mastering::soft_clipper) {
    const double drive = std::pow(10.0, between(random, 1.0, 7.0) / 20.0);
    for (double& v : music) v = std::tanh(drive * v);
  }
  scale_to(music, 1.0);
  return music;
}

std::vector<double> recorded_through(const PlayedChain& chain, const std::vector<double>& music,
                                     double rate, Random& random) {
  Gaussian noise(0.0, chain.noise_rms);
  const double pole = std::exp(-2.0 * pi * chain.coupling_hz / rate);
  const double code = std::ldexp(1.0, 1 - chain.bits);
  std::vector<double> arriving = music;
  if (chain.head_unit_rail)
    for (double& v : arriving) v = std::clamp(v, -*chain.head_unit_rail, *chain.head_unit_rail);
  arriving = through_bass_filters(chain, std::move(arriving), rate);
  std::vector<double> y(music.size());
  double before = 0.0, coupled = 0.0;
  rig::Filter filter = rig::make_filter(rig::Pass::high, chain.high_pass, Hertz(rate));
  for (std::size_t n = 0; n < music.size(); ++n) {
    double v = arriving[n];
    if (chain.positive_rail) v = std::min(v, *chain.positive_rail);
    if (chain.negative_rail) v = std::max(v, -*chain.negative_rail);
    // A first-order high-pass by the bilinear transform.
    coupled = pole * coupled + 0.5 * (1.0 + pole) * (v - before);
    before = v;
    y[n] = chain.gain * coupled;
  }
  rig::process(filter, y);
  for (double& v : y) v = code * std::round((v + noise(random)) / code);
  return y;
}

}  // namespace railtap::test
