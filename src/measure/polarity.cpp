// SPDX-License-Identifier: MIT
// The pulses' orders, and the delay at which they crest together.
#include "measure/polarity.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace railtap::measure {
namespace {

using std::numbers::pi;

constexpr Seconds edge{0.15};               // fades, and what the marker leaves open
constexpr double most_drift = 0.006;        // half a percent of clock error, and a little
constexpr double least_power_ratio = 30.0;  // as for the channel pattern's lines
constexpr int delays = 720;                 // tried within one cycle

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
  const auto steady = stretch_of(samples, rate, place, edge, pulses.length - edge);
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
