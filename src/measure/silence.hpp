// SPDX-License-Identifier: MIT
// What a channel puts out while nothing plays: hiss, and the lines of hum and whine in it.
#pragma once

#include <span>
#include <vector>

#include "measure/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// Mean squares, full scales², DC excluded.
struct SilenceReading {
  Seconds length{0.0};   ///< that was measured; 0: too short for it, and nothing else holds
  double noise = 0.0;    ///< 20 Hz to 20 kHz, without lines
  double noise_a = 0.0;  ///< up to half the rate, A-weighted, without lines
  double whole_a = 0.0;  ///< the same with lines: what a sound level meter would measure
  std::vector<InterferenceLine> lines;  ///< there for at least half of the time; strongest first
};

/// Measures silence in blocks of one second.
/// \param samples full scale ±1, finite; more than 0.5 s
[[nodiscard]] SilenceReading measure_silence(std::span<const double> samples, Hertz rate);

}  // namespace railtap::measure
