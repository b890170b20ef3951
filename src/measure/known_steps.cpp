// SPDX-License-Identifier: MIT
// Measures the inner parts of known steps: of a level ladder as it streams by, of a stepped sine.
#include "measure/known_steps.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>

#include "measure/steps.hpp"

namespace railtap::measure {
namespace {

// Of a quick ladder; the bins of so short a block are 33 Hz wide.
constexpr double shortest_step_s = 0.03;
constexpr double least_cycles = 3.0;  // as the fit of a tone needs, see ToneFitter

bool holds_cycles(const BlockMeasurement& block, Hertz rate) {
  if (!block.tone) return true;
  const double length_s = static_cast<double>(block.frames) / rate.value();
  return length_s * block.series.fundamental.value() >= least_cycles;
}

}  // namespace

KnownStepMeter::KnownStepMeter(Hertz rate, const RecordingOptions& options, std::vector<Step> steps,
                               std::optional<Hertz> tone)
    : rate_(rate), meter_(rate, options.band), steps_(std::move(steps)), tone_(tone) {
  if (options.code_step) full_scale_.positive_limit = 1.0 - *options.code_step;
}

void KnownStepMeter::add(const double* first, std::size_t stride, std::size_t count) {
  const std::int64_t end = position_ + static_cast<std::int64_t>(count);
  while (next_ < steps_.size() && steps_[next_].inner_first < end) {
    const Step& step = steps_[next_];
    const std::int64_t from =
        std::max(position_, step.inner_first + static_cast<std::int64_t>(inner_.size()));
    const std::int64_t to = std::min(end, step.inner_end);
    for (std::int64_t at = from; at < to; ++at) {
      inner_.push_back(first[static_cast<std::size_t>(at - position_) * stride]);
    }
    if (step.inner_end > end) break;
    take_step();
  }
  position_ = end;
}

void KnownStepMeter::take_step() {
  MeasuredStep measured;
  measured.step = steps_[next_++];
  measured.figures = figures(inner_);
  measured.full_scale = full_scale_;
  measured.full_scale.add(inner_, measured.figures);
  measured.flat.add(inner_, measured.figures);
  if (measured.figures.non_finite == 0) {
    if (measured.step.gliding && tone_) {
      measure_moving(measured);
    } else {
      measure_steady(measured);
    }
    if (measured.block.tone) {
      measured.clip = fit_clipped_sine(measured.block.series, clip_options_);
    }
  }
  result_.push_back(std::move(measured));
  inner_.clear();
}

void KnownStepMeter::measure_steady(MeasuredStep& measured) {
  const auto shortest = static_cast<std::size_t>(shortest_step_s * rate_.value());
  if (inner_.size() < shortest) return;
  measured.block = meter_.measure(inner_);
  if (!holds_cycles(measured.block, rate_)) measured.block = {};
}

void KnownStepMeter::measure_moving(MeasuredStep& measured) {
  measured.block = meter_.measure_moving(inner_, *tone_, measured.step.rise_db);
}

std::vector<MeasuredStep> with_tone(std::vector<MeasuredStep> steps) {
  std::erase_if(steps, [](const MeasuredStep& measured) { return !measured.block.tone; });
  for (std::size_t i = 0; i < steps.size(); ++i) steps[i].step.index = static_cast<int>(i);
  return steps;
}

namespace {

constexpr double most_drift = 0.006;  // half a percent of clock error, and a little
constexpr double quarter = 0.25;  // of a step, left out at either end: a marker is no more precise

double clearness_of(std::span<const double> samples, Hertz rate, Hertz frequency) {
  const double power = std::norm(line_in(samples, rate, frequency)) / 2.0;
  constexpr double no_noise = 1e-30;
  return power / std::max(noise_around(samples, rate, frequency), no_noise);
}

// The transient of a coupling after a new tone decays within the first part of a step: at a corner
// of 1.5 Hz to 4 % in a third of a second. A tone ends over one of its cycles
// (signal/generator.hpp).
void leave_out_transients(Step& step, Hertz tone, Hertz rate) {
  constexpr double settling_share = 0.4;
  constexpr Seconds longest_settling{0.6};
  constexpr Seconds misplaced{0.02};  // of a step: the marker's 10 ms, and a frame
  const auto length = static_cast<double>(step.end - step.first);
  const double settling =
      std::min(settling_share * length, longest_settling.value() * rate.value());
  const double ending = rate / tone + misplaced.value() * rate.value();
  step.inner_first = std::max<std::int64_t>(step.inner_first, step.first + std::llround(settling));
  step.inner_end = std::min<std::int64_t>(step.inner_end, step.end - std::llround(ending));
}

// Steps of slow tones whole, those of others without their disturbances.
std::vector<Step> steps_of(const LevelTrack& track, const Grid& grid,
                           const signal::SteppedSine& stepped) {
  constexpr Hertz slow{50.0};
  std::vector<Step> steps = cut_evenly(track, grid);
  const std::vector<Step> whole = cut_evenly(track, grid, Disturbances::measured);
  for (std::size_t k = 0; k < steps.size(); ++k) {
    const Hertz tone = stepped.frequencies[static_cast<std::size_t>(steps[k].index)];
    if (tone < slow) steps[k] = whole[k];
    leave_out_transients(steps[k], tone, track.rate);
  }
  return steps;
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
  KnownStepMeter meter(rate, options, steps_of(tracker.finish(), grid, stepped));
  meter.add(samples.data(), 1, samples.size());
  return meter.finish();
}

}  // namespace railtap::measure
