// SPDX-License-Identifier: MIT
// A recorded stepped sine: its clock, and each of its steady tones measured.
#pragma once

#include <span>
#include <vector>

#include "measure/known_steps.hpp"
#include "measure/line_search.hpp"
#include "measure/recording.hpp"
#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// The player's clock as the tones tell it.
struct SteppedClock {
  double ratio = 1.0;      ///< recorded duration over the nominal one
  double clearness = 0.0;  ///< power over noise of the tone that told it; 0 where none did
};

/// The clock by that tone which tells it best, from the middle half of its step.
/// \param samples one channel, full scale ±1, finite
/// \param stepped with its frequencies
/// Accuracy: 1e-4 from a clearness of 1000 on, for a tone of 100 Hz and a step of 2 s; in
/// proportion to the reciprocal of both (Cramér-Rao bound of a frequency).
[[nodiscard]] SteppedClock clock_of(std::span<const double> samples, Hertz rate,
                                    const signal::SteppedSine& stepped, const PartPlace& place);

/// Every step, in order; those that do not lie in the samples are left out, `Step::index` says
/// which they are. The tone of a step is what is steady in it, which need not be what was played.
/// \param place its clock right within 0.03 s over the length of the signal, as `clock_of` tells it
[[nodiscard]] std::vector<MeasuredStep> measure_stepped_sine(std::span<const double> samples,
                                                             Hertz rate,
                                                             const RecordingOptions& options,
                                                             const signal::SteppedSine& stepped,
                                                             const PartPlace& place);

}  // namespace railtap::measure
