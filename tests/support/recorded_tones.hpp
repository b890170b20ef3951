// SPDX-License-Identifier: MIT
// A stepped sine as a channel records it: a gain for each step, and a clock that is off.
#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "signal/tone.hpp"
#include "support/random.hpp"
#include "units/quantity.hpp"

namespace railtap::test {

struct RecordedTones {
  signal::SteppedSine played;
  std::vector<double> gain_db;  ///< of each step; empty: 0 dB
  double clock_ratio = 1.0;     ///< recorded duration over the nominal one
  double noise_dbfs = -90.0;    ///< over the whole band
  double rail = 10.0;           ///< samples beyond it are cut off
  double rate_hz = 48000.0;
  std::size_t lead = 20000;  ///< samples of noise in front, and as many behind
};

/// Its samples, from the formula of a sine, step by step without fades.
inline std::vector<double> samples_of(const RecordedTones& of) {
  Random random(5);
  Gaussian gaussian(0.0, std::pow(10.0, of.noise_dbfs / 20.0) / std::sqrt(2.0));
  const double each = of.played.dwell.value() * of.clock_ratio * of.rate_hz;
  const auto steps = of.played.frequencies.size();
  std::vector<double> x(2 * of.lead + static_cast<std::size_t>(each * static_cast<double>(steps)));
  for (double& v : x) v = gaussian(random);
  for (std::size_t n = of.lead; n < x.size(); ++n) {
    const auto t = static_cast<double>(n - of.lead);
    const auto step = static_cast<std::size_t>(t / each);
    if (step >= steps) break;
    const double gain = of.gain_db.empty() ? 0.0 : of.gain_db[step];
    const double hz = of.played.frequencies[step].value() / of.clock_ratio;
    const double sine = std::sin(2.0 * std::numbers::pi * hz * t / of.rate_hz);
    const double peak = sine_peak(of.played.level) * std::pow(10.0, gain / 20.0);
    x[n] += std::clamp(peak * sine, -of.rail, of.rail);
  }
  return x;
}

}  // namespace railtap::test
