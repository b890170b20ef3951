// SPDX-License-Identifier: MIT
// A bass boost, hum and whine.
#include "rig/faults.hpp"

#include <cmath>
#include <numbers>

namespace railtap::rig {
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
