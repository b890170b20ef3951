// SPDX-License-Identifier: MIT
// Measures the inner parts of known steps as a recording streams by.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <utility>
#include <vector>

#include "measure/clipped_sine.hpp"
#include "measure/flat_runs.hpp"
#include "measure/frame.hpp"
#include "measure/recording.hpp"
#include "measure/steps.hpp"
#include "measure/tone.hpp"

namespace railtap::measure {

/// A step with what its inner part holds.
struct MeasuredStep {
  Step step;
  FrameFigures figures;
  FullScaleRuns full_scale;
  FlatRuns flat;
  BlockMeasurement block;  ///< frames is 0 where the inner part was too short, or not finite
  std::optional<ClippedSineFit> clip;  ///< where there is a tone
};

/// Those steps that hold a tone, numbered anew from 0: what is left of a hand's rests when noise in
/// the pauses is taken out.
[[nodiscard]] std::vector<MeasuredStep> with_tone(std::vector<MeasuredStep> steps);

/// Measures the steps of one channel, one block each. Holds one inner part (2 s) at a time. Where
/// the level glides, the gain is undone before the tone is measured, so that it is steady.
class KnownStepMeter {
 public:
  /// \param steps in order of time, not overlapping
  KnownStepMeter(Hertz rate, const RecordingOptions& options, std::vector<Step> steps);

  /// \param first the channel's first sample; \param stride distance of its samples; \param count
  /// how many
  void add(const double* first, std::size_t stride, std::size_t count);

  /// Steps that the recording did not reach are not in it.
  [[nodiscard]] std::vector<MeasuredStep> finish() { return std::move(result_); }

 private:
  void take_step();
  void level_out(double glide_db_per_s);

  Hertz rate_;
  BlockMeter meter_;
  FullScaleRuns full_scale_;  // limits only
  ClippedSineOptions clip_options_;
  std::vector<Step> steps_;
  std::vector<MeasuredStep> result_;
  std::vector<double> inner_;
  std::size_t next_ = 0;
  std::int64_t position_ = 0;
};

}  // namespace railtap::measure
