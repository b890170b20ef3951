// SPDX-License-Identifier: MIT
// Whether the steps of a recording are those of a level ladder, and which of its steps they are.
#pragma once

#include <optional>
#include <vector>

#include "measure/steps.hpp"

namespace railtap::measure {

/// A ladder: steps of one length, each the same number of decibels over the one before, as a
/// generator plays them. Positions in samples.
struct Ladder {
  Grid grid;                ///< the steps that are in the recording
  double rise_db = 0.0;     ///< from step to step, where nothing limits the level
  bool start_seen = false;  ///< it starts inside the recording, out of something much softer
  bool end_seen = false;    ///< it ends inside the recording
  double jitter = 0.0;      ///< RMS of the found edges about the regular pace, samples
};

/// The ladder that the plateaus are steps of, if their pace is regular: five or more rises that are
/// equal within 0.1 dB and lie on one grid in time. Found where the level is not limited yet, the
/// grid is carried on up to the end of the tone, where steps no longer show in the level.
/// \param rise_db  what the rise is known to be, to distinguish it from other regular changes
[[nodiscard]] std::optional<Ladder> find_ladder(const LevelTrack& track,
                                                const std::vector<Step>& plateaus,
                                                std::optional<double> rise_db = {});

/// What is known of a ladder beforehand.
struct LadderPlan {
  int steps = 0;                ///< both ends included
  double rise_db = 0.0;         ///< > 0 where the ladder rises, < 0 where it falls
  std::optional<Grid> nominal;  ///< where it is by a marker; the player's clock may be off
};

/// How a plan and a recording fit.
enum class Fit {
  whole,      ///< every step was found, or the marker gives where they are
  cut_short,  ///< the recording starts or ends within the ladder
  not_found,  ///< no regular steps with the plan's rise
  too_many,   ///< more steps than planned
  too_few,    ///< it starts and ends in the recording, but with fewer steps
  ambiguous   ///< neither start nor end is in the recording, so the steps cannot be numbered
};

/// Where a planned ladder lies. `grid` counts from the plan's first step, so its first steps may
/// lie before the recording.
struct Placement {
  Fit fit = Fit::not_found;
  Grid grid;
  int found = 0;  ///< steps in the recording
};

/// Lays a planned ladder over a recording. A recording that holds its end, or its start, is enough.
[[nodiscard]] Placement place_ladder(const LevelTrack& track, const std::vector<Step>& plateaus,
                                     const LadderPlan& plan);

}  // namespace railtap::measure
