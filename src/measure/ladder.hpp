// SPDX-License-Identifier: MIT
// Whether the steps of a recording are those of a level ladder, by the multiples of its rise and
// their times, and which of its steps they are.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "measure/level_stretches.hpp"
#include "measure/steps.hpp"

namespace railtap::measure {

// Whether the steps of a recording are those of a level ladder, and which of its steps they are.

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

// The stretches of a recording that are steps of a ladder, by the multiples of its rise and their
// times.

/// How steps follow each other, in samples.
struct Pace {
  double period = 0.0;   ///< from the start of a step to that of the next
  double dwell = 0.0;    ///< of a step; the period less its pause
  double scatter = 0.0;  ///< of the steps' lengths about it: three standard deviations
  bool regular = false;  ///< most steps follow at this period
  bool paused = false;   ///< with silence between them
};

/// One stretch that is a step.
struct Link {
  std::size_t stretch = 0;
  int index = 0;  ///< counted from the chain's first, which is 0
};

struct LadderChain {
  std::vector<Link> links;  ///< in order of time
  Pace pace;
  double rise_db = 0.0;
};

/// The best chain of stretches whose levels differ by multiples of a rise.
/// \param rise_db what the rise is; none where it is to be found
/// \returns none where fewer than three stretches (six at one pace, where the rise is not known)
/// are steps of one ladder
[[nodiscard]] std::optional<LadderChain> find_chain(const std::vector<Stretch>& stretches,
                                                    std::optional<double> rise_db, Hertz rate);

/// Whether a step that is `late` periods later than its level tells goes with the pace.
[[nodiscard]] bool is_on_time(double late, const Pace& pace, double rate);

/// How many periods after the stretch `from` the stretch `to` starts. That of a stretch with which
/// the recording begins, amid a step, is told by its end.
[[nodiscard]] double periods_between(const Stretch& from, const Stretch& to, const Pace& pace);

/// Where a step starts; before the recording, where that begins amid it.
[[nodiscard]] double start_of(const Stretch& stretch, const Pace& pace);

}  // namespace railtap::measure
