// SPDX-License-Identifier: MIT
// The patterns of a verification track as recorded: which side arrives, and which way up.
#include "measure/test_patterns.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "signal/test_patterns.hpp"

namespace railtap::measure {
namespace {

using signal::pattern_bursts;
using signal::PatternBurst;

constexpr Seconds burst_edge{0.04};   // fades of a burst, and what the marker leaves open
constexpr double most_drift = 0.006;  // half a percent of clock error, and a little
// Over the mean of eight neighbours, noise alone comes out that strong once in 250 000 times,
// (1 + 30/8)^−8 [the F distribution with 2 and 16 degrees of freedom].
constexpr double least_power_ratio = 30.0;
// A clock is searched for over many frequencies, each of which could be noise.
constexpr double told_clearly = 300.0;

std::span<const double> steady_part(std::span<const double> samples, Hertz rate,
                                    const PartPlace& place, const PatternBurst& burst) {
  return stretch_of(samples, rate, place, Seconds(burst.start_s) + burst_edge,
                    Seconds(burst.start_s + burst.length_s) - burst_edge);
}

struct Clock {
  double ratio = 1.0;
  double power_ratio = 0.0;  // of the line it was measured by, over its noise
};

// The clock by one burst: by its upper frequency, or by its lower one where that is stronger.
Clock clock_by(std::span<const double> steady, Hertz rate, const PatternBurst& burst,
               double expected) {
  Clock best{expected, 0.0};
  for (const double hz : {burst.high_hz, burst.low_hz}) {
    const std::array<double, 1> one{hz};
    const double ratio = find_clock_ratio(steady, rate, one, expected, most_drift);
    const double power = std::norm(line_in(steady, rate, Hertz(hz / ratio))) / 2.0;
    const double noise = noise_around(steady, rate, Hertz(hz / ratio));
    const double power_ratio = noise > 0.0 ? power / noise : (power > 0.0 ? 1e30 : 0.0);
    if (power_ratio > best.power_ratio) best = {ratio, power_ratio};
  }
  return best;
}

void add_line(PatternLine& line, std::span<const double> steady, Hertz rate, double ratio,
              double share) {
  const Hertz there = line.frequency / ratio;
  line.mean_square += share * std::norm(line_in(steady, rate, there)) / 2.0;
  line.noise += share * noise_around(steady, rate, there);
}

}  // namespace

bool PatternLine::stands_out() const {
  return mean_square > least_power_ratio * noise;
}

PatternReading measure_channel_pattern(std::span<const double> samples, Hertz rate,
                                       const PartPlace& place) {
  PatternReading reading;
  Clock clock{place.clock_ratio, told_clearly};
  for (const PatternBurst& burst : pattern_bursts) {
    const Clock told =
        clock_by(steady_part(samples, rate, place, burst), rate, burst, place.clock_ratio);
    if (told.power_ratio > clock.power_ratio) clock = told;
  }
  reading.clock_ratio = clock.ratio;
  for (std::size_t i = 0; i < reading.lines.size(); ++i) {
    PatternLine& line = reading.lines[i];
    line.left = i < 2;
    line.low = i % 2 == 0;
    const auto side = [&](const PatternBurst& b) { return b.left == line.left; };
    const auto bursts = std::count_if(pattern_bursts.begin(), pattern_bursts.end(), side);
    for (const PatternBurst& burst : pattern_bursts) {
      if (burst.left != line.left) continue;
      line.frequency = Hertz(line.low ? burst.low_hz : burst.high_hz);
      add_line(line, steady_part(samples, rate, place, burst), rate, clock.ratio,
               1.0 / static_cast<double>(bursts));
    }
  }
  return reading;
}

namespace {

using std::numbers::pi;

constexpr Seconds pulses_edge{0.15};  // fades, and what the marker leaves open
constexpr int delays = 720;           // tried within one cycle

struct Extremes {
  double highest = -1e300, lowest = 1e300;
};

// Highest and lowest of Σ weight·cos(k·θ + phase_k).
Extremes extremes(const std::vector<double>& weights, const std::vector<double>& phases,
                  const std::vector<int>& orders) {
  Extremes found;
  for (int d = 0; d < delays; ++d) {
    const double theta = 2.0 * pi * d / delays;
    double sum = 0.0;
    for (std::size_t i = 0; i < weights.size(); ++i)
      sum += weights[i] * std::cos(orders[i] * theta + phases[i]);
    found.highest = std::max(found.highest, sum);
    found.lowest = std::min(found.lowest, sum);
  }
  return found;
}

double asymmetry(const Extremes& e) {
  const double span = e.highest - e.lowest;
  return span > 0.0 ? (e.highest + e.lowest) / span : 0.0;
}

}  // namespace

bool PolarityReading::stands_out(int index) const {
  const auto i = static_cast<std::size_t>(index);
  return std::norm(phasor[i]) / 2.0 > least_power_ratio * noise[i];
}

PolarityReading measure_polarity(std::span<const double> samples, Hertz rate,
                                 const signal::PolarityPulses& pulses, const PartPlace& place) {
  PolarityReading reading;
  reading.orders = signal::polarity_orders(pulses.fundamental.value());
  const auto steady = stretch_of(samples, rate, place, pulses_edge, pulses.length - pulses_edge);
  std::vector<double> nominal;
  for (int k = 1; k <= reading.orders; ++k) nominal.push_back(k * pulses.fundamental.value());
  reading.clock_ratio = find_clock_ratio(steady, rate, nominal, place.clock_ratio, most_drift);
  reading.fundamental = pulses.fundamental / reading.clock_ratio;
  for (int k = 0; k < reading.orders; ++k) {
    const auto i = static_cast<std::size_t>(k);
    reading.phasor[i] = line_in(steady, rate, reading.fundamental * (k + 1.0));
    reading.noise[i] = noise_around(steady, rate, reading.fundamental * (k + 1.0));
  }
  return reading;
}

PolarityFit fit_polarity(const PolarityReading& reading,
                         const std::array<double, signal::polarity_amplitudes.size()>& turns) {
  PolarityFit fit;
  std::vector<double> weights, phases;
  std::vector<int> orders;
  double sum = 0.0;
  for (int k = 0; k < reading.orders; ++k) {
    if (!reading.stands_out(k)) continue;
    const auto i = static_cast<std::size_t>(k);
    orders.push_back(k + 1);
    weights.push_back(signal::polarity_amplitudes[i]);
    phases.push_back(std::arg(reading.phasor[i]) - turns[i]);
    sum += weights.back();
  }
  fit.orders_used = static_cast<int>(orders.size());
  if (fit.orders_used < 2) return fit;
  const Extremes found = extremes(weights, phases, orders);
  const Extremes played = extremes(weights, std::vector<double>(phases.size(), 0.0), orders);
  fit.upright = found.highest / sum;
  fit.inverted = -found.lowest / sum;
  // Odd orders alone look the same upside down.
  constexpr double too_little = 0.05;
  if (asymmetry(played) > too_little) fit.margin = asymmetry(found) / asymmetry(played);
  return fit;
}

}  // namespace railtap::measure
