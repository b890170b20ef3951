// SPDX-License-Identifier: MIT
// Finds the start of a rising level and measures its steps.
#include "measure/level_steps.hpp"

namespace railtap::measure {
namespace {

constexpr Seconds idle_window{0.1};
constexpr Seconds look_window{0.01};
/// Tenfold in amplitude.
constexpr double rise = 100.0;
/// −100 dBFS: digital silence must not make any rustle a start.
constexpr double lowest_idle_mean_square = 0.5e-10;

double mean_square_ac(std::span<const double> samples) {
  double sum = 0.0, squares = 0.0;
  for (const double x : samples) {
    sum += x;
    squares += x * x;
  }
  const auto count = static_cast<double>(samples.size());
  return squares / count - (sum / count) * (sum / count);
}

}  // namespace

StepMeter::StepMeter(Hertz rate, const StepTiming& timing, Band band)
    : rate_(rate), timing_(timing), meter_(rate, band) {}

std::size_t StepMeter::frames(Seconds time) const {
  return static_cast<std::size_t>(time.value() * rate_.value());
}

void StepMeter::look_for_start(double sample) {
  window_.push_back(sample);
  if (window_.size() < frames(idle_mean_square_ ? look_window : idle_window)) return;
  const double level = mean_square_ac(window_);
  if (!idle_mean_square_) {
    idle_mean_square_ = std::max(level, lowest_idle_mean_square);
  } else if (level > rise * *idle_mean_square_) {
    started_ = true;
    for (const double x : window_) take(x);
  }
  window_.clear();
}

void StepMeter::take(double sample) {
  const std::size_t from = frames(timing_.settle);
  const std::size_t to = frames(timing_.dwell - timing_.guard);
  if (position_ >= from && position_ < to) step_.push_back(sample);
  if (++position_ < frames(timing_.dwell)) return;
  measure_step();
  step_.clear();
  position_ = 0;
}

void StepMeter::measure_step() {
  LevelStep step;
  step.block = meter_.measure(step_);
  if (step.block.tone) step.clip = fit_clipped_sine(step.block.series);
  steps_.push_back(std::move(step));
}

void StepMeter::add(const double* first, std::size_t stride, std::size_t count) {
  for (std::size_t n = 0; n < count; ++n) {
    if (steps_.size() == timing_.count) return;
    const double sample = first[n * stride];
    if (started_) {
      take(sample);
    } else {
      look_for_start(sample);
    }
  }
}

}  // namespace railtap::measure
