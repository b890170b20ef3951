// SPDX-License-Identifier: MIT
// Finds a ladder, whole or not: by the grid of its edges, else by its chain of stretches.
#include <algorithm>
#include <cmath>
#include <cstddef>

#include "measure/ladder_alignment.hpp"
#include "measure/ladder_parts.hpp"

namespace railtap::measure {
namespace {

using ladder_parts::fall_db;
using ladder_parts::least_seen_s;
using ladder_parts::tone_end_db;

AlignedLadder of_grid(const LevelTrack& track, const Grid& grid, double rise_db, Numbering by) {
  AlignedLadder ladder;
  ladder.steps = cut_evenly(track, grid);
  ladder.numbering = by;
  ladder.rise_db = rise_db;
  ladder.first = grid.first;
  ladder.dwell = grid.dwell;
  ladder.period = grid.dwell;
  ladder.regular = true;
  ladder.grid = grid;
  return ladder;
}

// Without pauses, and nothing is missing.
bool is_whole(const LevelTrack& track, const AlignedLadder& ladder) {
  const bool paused = ladder.period - ladder.dwell > least_seen_s * track.rate.value();
  return !paused && ladder.missing.empty() && !ladder.muted && ladder.surplus == 0;
}

// Steps of a grid in which the recording is silent, or which it does not hold.
void take_out_silent(const LevelTrack& track, const Grid& grid, AlignedLadder& ladder) {
  double loudest = -INFINITY;
  for (const Step& step : ladder.steps) loudest = std::max(loudest, step.level_db);
  const double rise = std::abs(ladder.rise_db);
  const double softest = loudest - rise * grid.steps - tone_end_db - fall_db;
  std::erase_if(ladder.steps, [&](const Step& step) { return step.level_db < softest; });
  for (int index = 0; index < grid.steps; ++index) {
    const bool there = std::any_of(ladder.steps.begin(), ladder.steps.end(),
                                   [&](const Step& step) { return step.index == index; });
    if (there) continue;
    const double start = grid.first + index * grid.dwell;
    const bool early = start < 0.0;
    const bool late = start + grid.dwell > static_cast<double>(track.samples);
    ladder.missing.push_back({index, early  ? Absence::before_start
                                     : late ? Absence::after_end
                                            : Absence::silent});
  }
}

// Where the noise hides the softest steps, the marker still says where they lie.
bool lacks_only_softest(const AlignedLadder& ladder) {
  if (ladder.muted || ladder.surplus > 0 || ladder.steps.empty()) return false;
  return std::all_of(ladder.missing.begin(), ladder.missing.end(), [&](const MissingStep& step) {
    return step.why != Absence::before_start && step.why != Absence::after_end &&
           (ladder.rise_db > 0.0 ? step.index < ladder.steps.front().index
                                 : step.index > ladder.steps.back().index);
  });
}

std::optional<AlignedLadder> locate_planned(const LevelTrack& track, const LadderPlan& plan) {
  const Placement placed = place_ladder(track, find_plateaus(track), plan);
  auto aligned = align_ladder(track, plan);
  const auto by = plan.nominal ? Numbering::marker : Numbering::count;
  const bool whole =
      !aligned || is_whole(track, *aligned) || (plan.nominal && lacks_only_softest(*aligned));
  if (placed.fit == Fit::whole && whole) {
    AlignedLadder ladder = of_grid(track, placed.grid, plan.rise_db, by);
    if (!aligned) take_out_silent(track, placed.grid, ladder);
    if (std::ssize(ladder.steps) == plan.steps || !aligned) return ladder;
  }
  if (aligned && placed.fit == Fit::too_many)
    aligned->surplus = std::max(aligned->surplus, placed.found - plan.steps);
  return aligned;
}

std::optional<AlignedLadder> locate_unplanned(const LevelTrack& track) {
  const auto found = find_ladder(track, find_plateaus(track));
  auto aligned = align_ladder(track, {});
  if (!found) return aligned;
  AlignedLadder ladder = of_grid(track, found->grid, found->rise_db, Numbering::unknown);
  const bool more =
      aligned && (!is_whole(track, *aligned) || aligned->steps.size() > ladder.steps.size());
  return more ? aligned : std::optional(ladder);
}

}  // namespace

std::optional<AlignedLadder> locate_ladder(const LevelTrack& track, const LadderPlan& plan) {
  return plan.steps > 0 ? locate_planned(track, plan) : locate_unplanned(track);
}

}  // namespace railtap::measure
