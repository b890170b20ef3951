// SPDX-License-Identifier: MIT
// Cuts a stepped sine by the clock that its tones tell.
#include "measure/stepped_sine.hpp"

#include <algorithm>
#include <array>
#include <complex>

#include "measure/level_track.hpp"
#include "measure/steps.hpp"

namespace railtap::measure {
namespace {

constexpr double most_drift = 0.006;  // half a percent of clock error, and a little
constexpr double quarter = 0.25;      // of a step, left out at either end: a marker knows no better

double clearness_of(std::span<const double> samples, Hertz rate, Hertz frequency) {
  const double power = std::norm(line_in(samples, rate, frequency)) / 2.0;
  constexpr double no_noise = 1e-30;
  return power / std::max(noise_around(samples, rate, frequency), no_noise);
}

}  // namespace

SteppedClock clock_of(std::span<const double> samples, Hertz rate,
                      const signal::SteppedSine& stepped, const PartPlace& place) {
  SteppedClock best;
  best.ratio = place.clock_ratio;
  double least_error = 0.0;  // its reciprocal, squared: power over noise times frequency squared
  for (std::size_t k = 0; k < stepped.frequencies.size(); ++k) {
    const Hertz nominal = stepped.frequencies[k];
    const Seconds start = stepped.dwell * static_cast<double>(k);
    const auto middle = stretch_of(samples, rate, place, start + stepped.dwell * quarter,
                                   start + stepped.dwell * (1.0 - quarter));
    const std::array<double, 1> line{nominal.value()};
    const double ratio = find_clock_ratio(middle, rate, line, place.clock_ratio, most_drift);
    const double clearness = clearness_of(middle, rate, nominal / ratio);
    const double tells = clearness * nominal.value() * nominal.value();
    if (tells <= least_error) continue;
    least_error = tells;
    best = {ratio, clearness};
  }
  return best;
}

std::vector<MeasuredStep> measure_stepped_sine(std::span<const double> samples, Hertz rate,
                                               const RecordingOptions& options,
                                               const signal::SteppedSine& stepped,
                                               const PartPlace& place) {
  LevelTracker tracker(rate);
  tracker.add(samples.data(), 1, samples.size());
  const Grid grid{place.start_frame, stepped.dwell.value() * rate.value() * place.clock_ratio,
                  static_cast<int>(stepped.frequencies.size())};
  KnownStepMeter meter(rate, options, cut_evenly(tracker.finish(), grid));
  meter.add(samples.data(), 1, samples.size());
  return meter.finish();
}

}  // namespace railtap::measure
