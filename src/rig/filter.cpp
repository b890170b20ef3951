// SPDX-License-Identifier: MIT
// Filters in topology-preserving form, and the rig's faults: coefficients and the loops.
#include "rig/filter.hpp"

#include <cmath>
#include <numbers>

namespace railtap::rig {
namespace {

double prewarped(Hertz corner, Hertz rate) {
  return std::tan(std::numbers::pi * (corner / rate));
}

TwoPoles two_poles(double g, double quality) {
  const double damping = 1.0 / quality;
  return {g, damping, 1.0 / (1.0 + g * (g + damping)), 0.0, 0.0};
}

void process(TwoPoles& poles, Pass pass, std::span<double> block) {
  for (double& x : block) {
    const double high = (x - (poles.damping + poles.g) * poles.band - poles.low) * poles.factor;
    const double band = poles.g * high + poles.band;
    const double low = poles.g * band + poles.low;
    poles.band = band + poles.g * high;
    poles.low = low + poles.g * band;
    x = pass == Pass::low ? low : high;
  }
}

}  // namespace

OnePole one_pole(Hertz corner, Hertz rate) {
  const double g = prewarped(corner, rate);
  return {g / (1.0 + g), 0.0};
}

Filter make_filter(Pass pass, const FilterSetting& setting, Hertz rate) {
  Filter filter;
  filter.pass = pass;
  if (setting.order == 0) return filter;
  const double g = prewarped(setting.corner, rate);
  if (setting.order % 2 != 0) {
    filter.has_one = true;
    filter.one = one_pole(setting.corner, rate);
  }
  // Butterworth poles lie evenly on a circle: Q = 1/(2·cos of the pair's angle to the axis).
  const int pairs = setting.order / 2;
  for (int k = 0; k < pairs; ++k) {
    const double angle = std::numbers::pi * (2 * k + 1) / (2.0 * setting.order);
    filter.two.push_back(two_poles(g, 1.0 / (2.0 * std::sin(angle))));
  }
  return filter;
}

void process(Filter& filter, std::span<double> block) {
  if (filter.has_one) {
    for (double& x : block) x = filter.pass == Pass::low ? filter.one.low(x) : filter.one.high(x);
  }
  for (TwoPoles& poles : filter.two) process(poles, filter.pass, block);
}

void couple(OnePole& pole, std::span<double> block) {
  for (double& x : block) x = pole.high(x);
}

namespace {

constexpr double boost_q = 1.0;  // as bass boosts of amplifiers are (common practice)

}  // namespace

Boost::Boost(Decibels gain, Hertz frequency, Hertz rate) : gain_(amplitude_ratio(gain)) {
  const double g = std::tan(std::numbers::pi * (frequency / rate));
  const double damping = std::sqrt(gain_) / boost_q;
  poles_ = {g, damping / gain_, 1.0 / (1.0 + g * (g + damping / gain_)), 0.0, 0.0};
}

void Boost::process(std::span<double> block) {
  if (gain_ == 1.0) return;
  for (double& x : block) {
    const double high =
        (x - (poles_.damping + poles_.g) * poles_.band - poles_.low) * poles_.factor;
    const double band = poles_.g * high + poles_.band;
    const double low = poles_.g * band + poles_.low;
    poles_.band = band + poles_.g * high;
    poles_.low = low + poles_.g * band;
    x += (gain_ - 1.0) * poles_.damping * band;
  }
}

void Tones::add(Volts rms, Hertz frequency, Hertz rate) {
  if (rms.value() <= 0.0) return;
  const double step = 2.0 * std::numbers::pi * (frequency / rate);
  tones_.push_back({std::cos(step), std::sin(step), rms.value() * std::numbers::sqrt2, 0.0});
}

void Tones::process(std::span<double> block) {
  for (Tone& tone : tones_) {
    for (double& x : block) {
      x += tone.quadrature;
      const double next = tone.in_phase * tone.cosine - tone.quadrature * tone.sine;
      tone.quadrature = tone.in_phase * tone.sine + tone.quadrature * tone.cosine;
      tone.in_phase = next;
    }
  }
}

Tones tones_of(const Faults& faults, Hertz rate) {
  constexpr double second = 0.5, third = 0.32;  // 6 and 10 dB below
  Tones tones;
  tones.add(faults.hum, faults.hum_frequency, rate);
  tones.add(faults.hum * second, faults.hum_frequency * 2.0, rate);
  tones.add(faults.hum * third, faults.hum_frequency * 3.0, rate);
  tones.add(faults.whine, faults.whine_frequency, rate);
  return tones;
}

}  // namespace railtap::rig
