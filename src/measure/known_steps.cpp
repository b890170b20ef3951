// SPDX-License-Identifier: MIT
// Measures the inner parts of known steps.
#include "measure/known_steps.hpp"

#include <algorithm>
#include <cmath>

namespace railtap::measure {

KnownStepMeter::KnownStepMeter(Hertz rate, const RecordingOptions& options, std::vector<Step> steps)
    : rate_(rate), meter_(rate, options.band), steps_(std::move(steps)) {
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
  if (inner_.size() >= meter_.shortest_block() && measured.figures.non_finite == 0) {
    if (measured.step.gliding) level_out(measured.step.glide_db_per_s);
    measured.block = meter_.measure(inner_);
    if (measured.block.tone) {
      measured.clip = fit_clipped_sine(measured.block.series, clip_options_);
    }
  }
  result_.push_back(std::move(measured));
  inner_.clear();
}

// Level as in the middle of the part.
void KnownStepMeter::level_out(double glide_db_per_s) {
  const double per_sample = std::pow(10.0, -glide_db_per_s / rate_.value() / 20.0);
  double gain = std::pow(per_sample, -0.5 * static_cast<double>(inner_.size() - 1));
  for (double& x : inner_) {
    x *= gain;
    gain *= per_sample;
  }
}

std::vector<MeasuredStep> with_tone(std::vector<MeasuredStep> steps) {
  std::erase_if(steps, [](const MeasuredStep& measured) { return !measured.block.tone; });
  for (std::size_t i = 0; i < steps.size(); ++i) steps[i].step.index = static_cast<int>(i);
  return steps;
}

}  // namespace railtap::measure
