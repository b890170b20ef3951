// SPDX-License-Identifier: MIT
// A level that rises in steps of known length, cut into its steps and measured step by step.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "measure/clipped_sine.hpp"
#include "measure/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// One step: a steady tone and how it is clipped.
struct LevelStep {
  BlockMeasurement block;
  std::optional<ClippedSineFit> clip;  ///< none where there is no tone
};

/// How the steps lie in the recording.
struct StepTiming {
  Seconds dwell{0.0};  ///< on each step, at least 0.4 s
  std::size_t count = 0;
  Seconds settle{0.12};  ///< left out at the start of a step: fades, coupling capacitors, sag
  Seconds guard{0.05};   ///< left out at its end: what the start's detection may be wrong by
};

/// Measures one channel of a recording that begins with at least 0.1 s of idling. The first step
/// starts where the level rises tenfold above that of the first 0.1 s. Constant memory: one step.
class StepMeter {
 public:
  StepMeter(Hertz rate, const StepTiming& timing, Band band = {});

  /// \param first the channel's first sample; \param stride distance of its samples; \param count
  /// how many
  void add(const double* first, std::size_t stride, std::size_t count);

  /// The steps that were there in full; none where the level never rose.
  [[nodiscard]] std::vector<LevelStep> finish() { return std::move(steps_); }

 private:
  void look_for_start(double sample);
  void take(double sample);
  void measure_step();
  [[nodiscard]] std::size_t frames(Seconds time) const;

  Hertz rate_;
  StepTiming timing_;
  BlockMeter meter_;
  std::vector<double> window_, step_;
  std::optional<double> idle_mean_square_;
  bool started_ = false;
  std::size_t position_ = 0;  // within the present step
  std::vector<LevelStep> steps_;
};

}  // namespace railtap::measure
