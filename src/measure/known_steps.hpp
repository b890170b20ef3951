// SPDX-License-Identifier: MIT
// Measures the inner parts of known steps: of a level ladder as it streams by, of a stepped sine.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "measure/clipped_sine.hpp"
#include "measure/flat_runs.hpp"
#include "measure/frame.hpp"
#include "measure/line_search.hpp"
#include "measure/recording.hpp"
#include "measure/steps.hpp"
#include "measure/tone.hpp"
#include "signal/tone.hpp"
#include "units/quantity.hpp"

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

/// Those steps that hold a tone, numbered anew from 0: what is left of plateaus set by hand when
/// noise in the pauses is taken out.
[[nodiscard]] std::vector<MeasuredStep> with_tone(std::vector<MeasuredStep> steps);

/// Measures the steps of one channel, one block each. Holds one inner part (2 s) at a time. Where
/// the level glides, the tone is measured as it is in the middle of the part.
class KnownStepMeter {
 public:
  /// \param steps in order of time, not overlapping
  /// \param tone the frequency of what glides, where it is known
  KnownStepMeter(Hertz rate, const RecordingOptions& options, std::vector<Step> steps,
                 std::optional<Hertz> tone = {});

  /// \param first the channel's first sample; \param stride distance of its samples; \param count
  /// how many
  void add(const double* first, std::size_t stride, std::size_t count);

  /// Steps that the recording did not reach are not in it.
  [[nodiscard]] std::vector<MeasuredStep> finish() { return std::move(result_); }

 private:
  void take_step();
  void measure_steady(MeasuredStep& measured);
  void measure_moving(MeasuredStep& measured);

  Hertz rate_;
  BlockMeter meter_;
  FullScaleRuns full_scale_;  // limits only
  ClippedSineOptions clip_options_;
  std::vector<Step> steps_;
  std::optional<Hertz> tone_;
  std::vector<MeasuredStep> result_;
  std::vector<double> inner_;
  std::size_t next_ = 0;
  std::int64_t position_ = 0;
};

/// The player's clock as measured from the tones.
struct SteppedClock {
  double ratio = 1.0;      ///< recorded duration over the nominal one
  double clearness = 0.0;  ///< power over noise of the tone it was measured by; 0 where none was
};

/// The clock by that tone which gives it most precisely, from the middle half of its step.
/// \param samples one channel, full scale ±1, finite
/// \param stepped with its frequencies
/// Accuracy: 1e-4 from a clearness of 1000 on, for a tone of 100 Hz and a step of 2 s; in
/// proportion to the reciprocal of both (Cramér-Rao bound of a frequency).
[[nodiscard]] SteppedClock clock_of(std::span<const double> samples, Hertz rate,
                                    const signal::SteppedSine& stepped, const PartPlace& place);

/// Every step, in order; those that do not lie in the samples are left out, `Step::index` says
/// which they are. The tone of a step is what is steady in it, which need not be what was played.
/// \param place its clock right within 0.03 s over the length of the signal, as `clock_of` gives it
[[nodiscard]] std::vector<MeasuredStep> measure_stepped_sine(std::span<const double> samples,
                                                             Hertz rate,
                                                             const RecordingOptions& options,
                                                             const signal::SteppedSine& stepped,
                                                             const PartPlace& place);

}  // namespace railtap::measure
