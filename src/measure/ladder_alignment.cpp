// SPDX-License-Identifier: MIT
// A ladder's steps from its chain of stretches: carried on, numbered, and what is missing told.
#include "measure/ladder_alignment.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>

#include "measure/kernels.hpp"
#include "measure/ladder.hpp"
#include "measure/ladder_parts.hpp"
#include "measure/level_stretches.hpp"

namespace railtap::measure {
namespace {

using namespace ladder_parts;

std::vector<Unit> units_of_chain(const Context& context) {
  std::vector<Unit> units;
  for (const Link& link : context.chain.links) {
    const Stretch& stretch = context.stretches[link.stretch];
    Unit unit{link.index, stretch.first, stretch.end, stretch.level_db, true};
    unit.whole = is_whole(context, unit.end - unit.first) && stretch.first > 0.0;
    if (context.chain.pace.regular) {
      unit.first = start_of(stretch, context.chain.pace);
      unit.end = std::min(stretch.end, unit.first + context.dwell());
    }
    units.push_back(unit);
  }
  return units;
}
// The index of the first unit, and what tells it.
struct First {
  int index = 0;
  Numbering by = Numbering::unknown;
};

First by_marker(const Context& context, const std::vector<Unit>& units, const Grid& nominal) {
  std::vector<double> offsets;
  for (const Unit& unit : units) {
    const double at = (unit.first - nominal.first) / nominal.dwell;
    offsets.push_back(at - (unit.index - units.front().index));
  }
  (void)context;
  return {static_cast<int>(std::lround(median(std::move(offsets)))), Numbering::marker};
}

First number(const Context& context, const std::vector<Unit>& units, const Ends& ends,
             const LadderPlan& plan) {
  if (plan.nominal) return by_marker(context, units, *plan.nominal);
  const int left = plan.steps - span_of(units);
  if (plan.steps == 0) return {};
  if (left <= 0) return {0, Numbering::count};
  if (ends.start_seen) return {0, Numbering::start};
  if (ends.end_seen) return {left, Numbering::end};
  return {};
}

// Speech or music in front of a ladder may be as loud as softer steps would be. Where that makes
// more steps than the ladder has, it is given up, and what is louder tells which step is which.
First number_without_softer(const Context& context, std::vector<Unit>& units,
                            const LadderPlan& plan) {
  give_up_softer(context, units, plan.steps);
  const bool end_seen = carry_on_later(context, units, plan.steps + 1);
  return number(context, units, {false, end_seen}, plan);
}

void add_steps(const Context& context, const std::vector<Unit>& units, AlignedLadder& ladder) {
  std::vector<StepPlace> places;
  // Where a step is cut short is known to a frame, and to one and a half cycles. So is where it
  // starts; there a frame is left out of every step anyway.
  constexpr double cycles = 1.5;
  const auto frame = static_cast<double>(context.track.frame_length);
  const double cycles_s = context.track.tone ? cycles / context.track.tone->value() : 0.0;
  const double unsure = std::max(frame, cycles_s * context.rate());
  for (const Unit& unit : units) {
    const double end = unit.whole ? unit.end : unit.end - unsure;
    const bool starts_here = !unit.whole && unit.first > 0.0;
    const double first = starts_here ? unit.first + unsure - frame : unit.first;
    places.push_back({unit.index, std::max(0.0, first), std::max(end, first), unit.level_db});
  }
  const double least = least_inner_s * context.rate();
  for (const Step& step : cut_at(context.track, places)) {
    if (static_cast<double>(step.inner_end - step.inner_first) >= least) {
      ladder.steps.push_back(step);
    }
  }
  for (const Unit& unit : units) {
    const bool cut = std::none_of(ladder.steps.begin(), ladder.steps.end(),
                                  [&](const Step& step) { return step.index == unit.index; });
    if (cut) ladder.missing.push_back({unit.index, Absence::cut_short});
  }
}

double noise_of(const Context& context) {
  double quietest = 0.0;
  for (std::size_t i = 0; i < context.stretches.size(); ++i) {
    const Stretch& stretch = context.stretches[i];
    const bool step = std::any_of(context.chain.links.begin(), context.chain.links.end(),
                                  [&](const Link& link) { return link.stretch == i; });
    if (step || stretch.length() < 2.0 * least_seen_s * context.rate()) continue;
    const double power = to_power(stretch.level_db);
    if (quietest == 0.0 || power < quietest) quietest = power;
  }
  // A tone beside the ladder is no noise.
  const double softest = context.stretches[context.chain.links.front().stretch].level_db;
  return quietest < to_power(softest) ? quietest : 0.0;
}

// The stretches where a marker says that the ladder lies.
std::vector<Stretch> stretches_within(std::vector<Stretch> stretches,
                                      const std::optional<Grid>& nominal) {
  if (!nominal) return stretches;
  const double first = nominal->first - 0.5 * nominal->dwell;
  const double end = nominal->first + nominal->dwell * (nominal->steps + 0.5);
  std::erase_if(stretches,
                [&](const Stretch& stretch) { return stretch.end < first || stretch.first > end; });
  return stretches;
}

}  // namespace

std::optional<AlignedLadder> align_ladder(const LevelTrack& track, const LadderPlan& plan) {
  Context context{
      track, short_term_power(track), stretches_within(find_stretches(track), plan.nominal), {}};
  const auto rise = plan.rise_db != 0.0 ? std::optional(plan.rise_db) : std::nullopt;
  auto chain = find_chain(context.stretches, rise, track.rate);
  if (!chain) return std::nullopt;
  context.chain = std::move(*chain);
  context.planned = plan.steps > 0;
  context.noise = noise_of(context);
  std::vector<Unit> units = units_of_chain(context);
  constexpr int longest_ladder = 1000;
  const int most = plan.steps > 0 ? plan.steps + 1 : longest_ladder;
  const Ends ends = carry_on_both_ways(context, units, most);

  AlignedLadder ladder;
  ladder.rise_db = context.chain.rise_db;
  ladder.dwell = context.dwell();
  ladder.period = context.period();
  ladder.regular = context.chain.pace.regular;
  const bool too_many = plan.steps > 0 && !plan.nominal && span_of(units) > plan.steps;
  const First first =
      too_many ? number_without_softer(context, units, plan) : number(context, units, ends, plan);
  if (plan.steps > 0) ladder.surplus = std::max(0, span_of(units) - plan.steps);
  ladder.numbering = first.by;
  const int shift = first.index - units.front().index;
  for (Unit& unit : units) unit.index += shift;
  const bool numbered = first.by != Numbering::unknown;
  if (numbered && too_many) take_in_earlier(context, units);
  if (numbered) take_in_later(context, units, plan.steps - 1);
  const int planned = numbered ? plan.steps : 0;
  ladder.first = units.front().first - units.front().index * context.period();
  add_missing(context, units, planned, ladder);
  ladder.muted = muting(context, units, planned);
  add_steps(context, units, ladder);
  std::sort(ladder.missing.begin(), ladder.missing.end(),
            [](const MissingStep& a, const MissingStep& b) { return a.index < b.index; });
  return ladder;
}

// Finds a ladder, whole or not: by the grid of its edges, else by its chain of stretches.

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
  double loudest = -std::numeric_limits<double>::infinity();
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
  const bool told = aligned && aligned->surplus == 0 && aligned->numbering != Numbering::unknown;
  if (aligned && !told && placed.fit == Fit::too_many)
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
