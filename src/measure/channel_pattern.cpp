// SPDX-License-Identifier: MIT
// The pattern's bursts, read at their frequencies.
#include "measure/channel_pattern.hpp"

#include <algorithm>
#include <complex>
#include <vector>

#include "signal/channel_pattern.hpp"

namespace railtap::measure {
namespace {

using signal::pattern_bursts;
using signal::PatternBurst;

constexpr Seconds edge{0.04};         // fades of a burst, and what the marker leaves open
constexpr double most_drift = 0.006;  // half a percent of clock error, and a little
// Over the mean of eight neighbours, noise alone comes out that strong once in 250 000 times,
// (1 + 30/8)^−8 [the F distribution with 2 and 16 degrees of freedom].
constexpr double least_power_ratio = 30.0;
// A clock is searched for over many frequencies, each of which could be noise.
constexpr double told_clearly = 300.0;

std::span<const double> steady_part(std::span<const double> samples, Hertz rate,
                                    const PartPlace& place, const PatternBurst& burst) {
  return stretch_of(samples, rate, place, Seconds(burst.start_s) + edge,
                    Seconds(burst.start_s + burst.length_s) - edge);
}

struct Clock {
  double ratio = 1.0;
  double power_ratio = 0.0;  // of the line that told it, over its noise
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

}  // namespace railtap::measure
