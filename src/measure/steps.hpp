// SPDX-License-Identifier: MIT
// Where in a recording the level stands still.
#pragma once

#include <cstdint>
#include <vector>

#include "measure/level_track.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// A stretch of steady level. Positions in samples from the start of the recording.
struct Step {
  std::int64_t first = 0;  ///< where the level came to stand
  std::int64_t end = 0;    ///< one past its last sample
  std::int64_t inner_first =
      0;  ///< the part to measure: edges and disturbances left out, 2 s at most
  std::int64_t inner_end = 0;
  double level_db = 0.0;        ///< median of the smoothed level (see `smoothed_level`)
  double glide_db_per_s = 0.0;  ///< how the level moves in a slice; 0 where it stands
  bool gliding = false;         ///< a slice of a level that moves without steps
  int index = 0;                ///< of a grid: which of its steps; else counted in order of time
};

/// Every stretch of 0.2 s or more in which the level stands still, in order of time: the steps of
/// a ladder, or those of a hand on a volume knob. A level that moves for half a second and longer
/// is cut into slices of 0.25 s. What is 80 dB below the loudest, or below −110 dB, is left out;
/// noise in pauses that is louder than that is not.
///
/// Changes are found where the mean levels of 80 ms before and after differ by more than 0.12 dB
/// and three times their scatter.
[[nodiscard]] std::vector<Step> find_plateaus(const LevelTrack& track);

/// Steps of one length, one after the other. Positions in samples.
struct Grid {
  double first = 0.0;  ///< start of step 0
  double dwell = 0.0;  ///< length of a step, > 0
  int steps = 0;
};

/// Whether clicks and drop-outs are left out of what is measured. In frames of 10 ms, cycles of a
/// tone below 50 Hz look like disturbances.
enum class Disturbances { left_out, measured };

/// The steps of a grid that lie in the recording. The first 15 % (at least 50 ms, at most 0.25 s)
/// and the last 30 ms of each are left out of its inner part: edges, and what a coupling needs to
/// settle. A step whose inner part does not lie in the recording is left out.
[[nodiscard]] std::vector<Step> cut_evenly(const LevelTrack& track, const Grid& grid,
                                           Disturbances disturbances = Disturbances::left_out);

}  // namespace railtap::measure
