// SPDX-License-Identifier: MIT
// Which steps of a ladder a recording holds, where they lie, and which are missing: for ladders
// with pauses, holes, short steps, a late start, an early stop, or an output that went silent.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "measure/ladder.hpp"
#include "measure/steps.hpp"

namespace railtap::measure {

/// What tells which of the ladder's steps is which.
enum class Numbering {
  marker,  ///< the marker in front of it
  start,   ///< it begins out of silence
  end,     ///< it ends in silence, at the end of a step
  count,   ///< there are as many as planned
  unknown  ///< nothing: steps are counted from the first that is there
};

/// Why a step is not there.
enum class Absence {
  before_start,  ///< the recording starts later
  after_end,     ///< the recording ends sooner
  silent,        ///< in its place the recording is silent
  skipped,       ///< the next step takes its place
  cut_short,     ///< too little of it is there to be measured
  not_found      ///< something else is in its place
};

struct MissingStep {
  int index = 0;  ///< from 0
  Absence why = Absence::not_found;
};

/// An output that went silent and stayed so up to the recording's end.
struct Muting {
  int after_index = 0;     ///< the last step that was heard, from 0
  bool amid_step = false;  ///< before that step was over
  std::int64_t at = 0;     ///< sample
};

/// The steps of a ladder that a recording holds. Positions in samples.
struct AlignedLadder {
  std::vector<Step> steps;  ///< in order of time; `index` as `numbering` tells, from 0
  std::vector<MissingStep> missing;
  /// Indices of those of the missing whose place only the distortion of the others tells.
  std::vector<int> by_distortion;
  Numbering numbering = Numbering::unknown;
  std::optional<Muting> muted;
  double rise_db = 0.0;      ///< < 0: it falls
  double first = 0.0;        ///< where step 0 starts, or would
  double dwell = 0.0;        ///< of a step
  double period = 0.0;       ///< from the start of a step to that of the next
  bool regular = false;      ///< steps follow each other at one period
  std::optional<Grid> grid;  ///< that it was cut by, where it is whole
  int surplus = 0;  ///< steps in a row beyond the planned ones: the plan is another ladder's
};

/// Finds a ladder's steps by their levels and times.
///
/// The recording is cut into stretches of one level. Those whose levels rise by whole multiples of
/// the ladder's rise, each at the time that the multiple gives, are steps: the best chain of them
/// is found by dynamic programming; holes cost little, wrong times cost more than a step is worth.
/// From the chain the ladder is carried on at its period, or from stretch to stretch where it has
/// none: towards louder steps as long as the level does not fall by 3 dB, since a stage that clips
/// hides the rise; towards softer ones as long as it falls as the ladder's and the noise's power
/// let it.
///
/// \param plan steps 0 and rise 0 where they are not known; then at least six steps at one period
///             are a ladder. With a plan three steps are enough, and pauses may be of any length.
/// \returns none where there is no such chain
[[nodiscard]] std::optional<AlignedLadder> align_ladder(const LevelTrack& track,
                                                        const LadderPlan& plan);

/// Finds a ladder, whole or not. A whole one without pauses, of steps of 0.25 s and more, is cut by
/// the grid that all its edges give, see `place_ladder`; any other by `align_ladder`. Of a ladder
/// whose marker was heard, but whose rise is too small to be seen in the level, the steps lie where
/// the marker says.
/// \param plan steps 0 and rise 0 where they are not known
[[nodiscard]] std::optional<AlignedLadder> locate_ladder(const LevelTrack& track,
                                                         const LadderPlan& plan);

}  // namespace railtap::measure
