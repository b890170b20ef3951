// SPDX-License-Identifier: MIT
// A ladder's steps from its chain of stretches: carried on, numbered, and what is missing told.
#include "measure/ladder_alignment.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "measure/kernels.hpp"
#include "measure/ladder_chain.hpp"
#include "measure/level_stretches.hpp"

namespace railtap::measure {
namespace {

constexpr double fall_db = 3.0;        // a stage that protects itself falls less; silence more
constexpr double follows_db = 0.5;     // a step is where it is expected
constexpr double near_edge = 0.2;      // of a period: an edge that belongs to a step
constexpr double tone_end_db = 6.0;    // below the step: its tone is over
constexpr double least_seen_s = 0.04;  // so much silence tells that a step is not there
constexpr double least_length = 0.25;  // of a step
constexpr double cut_s = 0.006;        // less than this may be missing of a whole step
constexpr double least_inner_s = 0.03;

struct Unit {
  int index;          // counted from the chain's first
  double first, end;  // samples; of a step that begins before the recording, first < 0
  double level_db;
  bool whole;
};

struct Context {
  const LevelTrack& track;
  std::vector<double> power;  // mean square of each frame
  std::vector<Stretch> stretches;
  LadderChain chain;
  bool planned = false;  // how many steps there are is known
  double noise = 0.0;    // mean square in pauses; 0 where none is heard
  [[nodiscard]] double rate() const { return track.rate.value(); }
  [[nodiscard]] double samples() const { return static_cast<double>(track.samples); }
  [[nodiscard]] double dwell() const { return chain.pace.dwell; }
  [[nodiscard]] double period() const { return chain.pace.period; }
};

double to_db(double mean_square) {
  return 10.0 * std::log10(mean_square);
}
double to_power(double db) {
  return std::pow(10.0, db / 10.0);
}

struct Frames {
  std::size_t first = 0, end = 0;
  [[nodiscard]] bool empty() const { return end <= first; }
};
// The whole frames between two samples.
Frames frames_between(const Context& context, double first, double end) {
  const auto length = static_cast<double>(context.track.frame_length);
  const auto limit = static_cast<double>(context.power.size());
  return {static_cast<std::size_t>(std::clamp(std::ceil(first / length), 0.0, limit)),
          static_cast<std::size_t>(std::clamp(std::floor(end / length), 0.0, limit))};
}

// Median, so that a click or a knock does not count; none where no frame lies between.
std::optional<double> level_between(const Context& context, double first, double end) {
  const Frames frames = frames_between(context, first, end);
  if (frames.empty()) return std::nullopt;
  return to_db(median({context.power.begin() + static_cast<std::ptrdiff_t>(frames.first),
                       context.power.begin() + static_cast<std::ptrdiff_t>(frames.end)}));
}

double cut_tolerance(const Context& context) {
  constexpr double cycles = 0.6;  // a slow tone's edge is where its next half cycle would be
  const double slow_s = context.track.tone ? cycles / context.track.tone->value() : 0.0;
  return std::max(context.chain.pace.scatter, std::max(cut_s, slow_s) * context.rate());
}

bool is_whole(const Context& context, double length) {
  return length >= context.dwell() - cut_tolerance(context);
}

// Steps that follow each other without silence have to be told by their times where the level does
// not show them; others are told by the silence.
bool goes_by_time(const Context& context) {
  return context.chain.pace.regular && !context.chain.pace.paused;
}

// --- Units from the chain ----------------------------------------------------------------------

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

// --- Carrying on -------------------------------------------------------------------------------

// What is found in the place of a step.
enum class Found { step, silence, other, nothing };

struct Slot {
  Found found = Found::nothing;
  Unit unit{};
};

// The start of a step near a sample: an edge there, else that sample.
double start_near(const Context& context, double at, bool* edge = nullptr) {
  double best = at;
  double nearest = near_edge * context.period();
  for (const Stretch& stretch : context.stretches) {
    const double off = std::abs(stretch.first - at);
    if (stretch.first <= 0.0 || off >= nearest) continue;
    nearest = off;
    best = stretch.first;
    if (edge != nullptr) *edge = true;
  }
  return best;
}

// The level range in which a step `count` steps from a known one lies.
struct Range {
  double low, high;
};
Range range_at(const Context& context, const std::vector<Unit>& units, const Unit& from,
               int count) {
  const double change = context.chain.rise_db * count;
  if (change > 0.0) {
    double loudest = from.level_db;
    for (const Unit& unit : units) loudest = std::max(loudest, unit.level_db);
    return {loudest - fall_db, from.level_db + change + follows_db};
  }
  const double tone = to_power(from.level_db) - context.noise;
  const double expected =
      to_db(std::max(tone, 0.1 * context.noise + 1e-14) * to_power(change) + context.noise);
  return {expected - follows_db, expected + follows_db};
}

// Where the tone of a step is over, if it is before `end`.
double end_of_tone(const Context& context, double first, double end, double level_db) {
  const auto length = static_cast<double>(context.track.frame_length);
  const Frames frames = frames_between(context, first, end);
  const double over = to_power(level_db - tone_end_db);
  constexpr std::size_t in_a_row = 3;
  std::size_t below = 0;
  for (std::size_t i = frames.first; i < frames.end; ++i) {
    below = context.power[i] < over ? below + 1 : 0;
    if (below == in_a_row) return static_cast<double>(i + 1 - in_a_row) * length;
  }
  return below > 0 ? static_cast<double>(frames.end - below) * length : end;
}

Slot look_at(const Context& context, double start, const Range& range) {
  const double end = start + context.dwell();
  const double seen_first = std::max(0.0, start);
  const double seen_end = std::min(context.samples(), end);
  const double seen = seen_end - seen_first;
  Slot slot;
  if (seen < least_seen_s * context.rate()) return slot;
  slot.unit = {0, start, std::min(end, context.samples()), 0.0, false};
  // Its start, where something may cut it short later.
  const double margin = std::min(0.2 * seen, 0.05 * context.rate());
  const auto early = level_between(context, seen_first + margin, seen_first + 0.6 * seen);
  if (!early) return slot;
  if (*early < range.low) {
    slot.found = Found::silence;
    return slot;
  }
  slot.found = *early > range.high ? Found::other : Found::step;
  slot.unit.level_db = *early;
  slot.unit.end = end_of_tone(context, seen_first + margin, slot.unit.end, *early);
  slot.unit.whole = start >= 0.0 && is_whole(context, slot.unit.end - start);
  return slot;
}

Slot slot_beside(const Context& context, const std::vector<Unit>& units, bool later) {
  const Unit& from = later ? units.back() : units.front();
  const int count = later ? 1 : -1;
  bool edge = false;
  const double start = start_near(context, from.first + count * context.period(), &edge);
  Slot slot = look_at(context, start, range_at(context, units, from, count));
  // The last level of a volume that is turned up may stay for longer than the others.
  const bool stays = later && !edge && !slot.unit.whole && !context.planned;
  if (slot.found == Found::step && stays) slot.found = Found::other;
  slot.unit.index = from.index + count;
  return slot;
}

// How many steps lie between the starts of two, by their times, where these tell.
int steps_between(const Context& context, double from, double to) {
  if (!context.chain.pace.regular) return 1;
  return std::max(1, static_cast<int>(std::lround(std::abs(to - from) / context.period())));
}

// Where silence tells the steps: the next stretch that is none of it.
Slot stretch_beside(const Context& context, const std::vector<Unit>& units, bool later) {
  const Unit& from = later ? units.back() : units.front();
  Slot slot;
  const auto consider = [&](const Stretch& stretch) {
    const bool beyond = later ? stretch.first >= from.end - 1.0 : stretch.end <= from.first + 1.0;
    const bool done = slot.found == Found::step || slot.found == Found::other;
    // What is left of an edge is no step.
    const bool too_short = stretch.length() < least_length * context.dwell();
    if (done || !beyond || too_short) return;
    const double start = start_of(stretch, context.chain.pace);
    const int count = steps_between(context, from.first, start) * (later ? 1 : -1);
    const Range range = range_at(context, units, from, count);
    slot.found = stretch.level_db < range.low    ? Found::silence
                 : stretch.level_db > range.high ? Found::other
                                                 : Found::step;
    slot.unit = {from.index + count, start, stretch.end, stretch.level_db,
                 stretch.first > 0.0 && is_whole(context, stretch.length())};
  };
  if (later) std::for_each(context.stretches.begin(), context.stretches.end(), consider);
  if (!later) std::for_each(context.stretches.rbegin(), context.stretches.rend(), consider);
  return slot;
}

// Takes in steps on one side until something else is there. \returns what
Found carry_on(const Context& context, std::vector<Unit>& units, bool later, int most) {
  while (static_cast<int>(units.size()) < most) {
    const Slot slot = goes_by_time(context) ? slot_beside(context, units, later)
                                            : stretch_beside(context, units, later);
    if (slot.found != Found::step) return slot.found;
    units.insert(later ? units.end() : units.begin(), slot.unit);
    if (later && goes_by_time(context) && !slot.unit.whole) return Found::silence;
  }
  return Found::other;
}

// --- Numbering -----------------------------------------------------------------------------------

struct Ends {
  bool start_seen = false, end_seen = false;
};

int span_of(const std::vector<Unit>& units) {
  return units.back().index - units.front().index + 1;
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

// Steps that come back after a silence, at their times.
void take_in_later(const Context& context, std::vector<Unit>& units, int last_index) {
  if (!goes_by_time(context)) return;
  const Unit from = units.back();
  for (int index = from.index + 1; index <= last_index; ++index) {
    const Unit& before = units.back();
    bool edge = index == before.index + 1;
    const double start =
        start_near(context, before.first + (index - before.index) * context.period(), &edge);
    Slot slot = look_at(context, start, range_at(context, units, before, index - before.index));
    if (slot.found != Found::step || !edge) continue;
    slot.unit.index = index;
    units.push_back(slot.unit);
  }
}

// --- What is missing ---------------------------------------------------------------------------

// Of a step between two that are there, or beyond them; `at` is where it would start.
Absence absence_at(const Context& context, double at, double level_db) {
  const double seen_end = std::min(context.samples(), at + context.dwell());
  const double seen = seen_end - std::max(0.0, at);
  if (seen < least_seen_s * context.rate())
    return at < 0.0 ? Absence::before_start : Absence::after_end;
  const auto level = level_between(context, std::max(0.0, at), seen_end);
  return level && *level < level_db - tone_end_db ? Absence::silent : Absence::not_found;
}

Absence absence_between(const Context& context, const Unit& before, const Unit& after, int index) {
  const double periods = (after.first - before.first) / context.period();
  if (context.chain.pace.regular && periods < after.index - before.index - 0.5)
    return Absence::skipped;
  const double at = before.first + (index - before.index) * context.period();
  return absence_at(context, at, std::min(before.level_db, after.level_db));
}

void add_missing(const Context& context, const std::vector<Unit>& units, int planned,
                 AlignedLadder& ladder) {
  const double softest =
      std::min_element(units.begin(), units.end(), [](const Unit& a, const Unit& b) {
        return a.level_db < b.level_db;
      })->level_db;
  const Unit& first = units.front();
  const Unit& last = units.back();
  const double softer = std::min(0.0, -context.chain.rise_db * first.index) + softest;
  for (int index = 0; index < first.index; ++index) {
    const double at = first.first - (first.index - index) * context.period();
    ladder.missing.push_back({index, absence_at(context, at, softer)});
  }
  for (std::size_t i = 1; i < units.size(); ++i) {
    for (int index = units[i - 1].index + 1; index < units[i].index; ++index)
      ladder.missing.push_back({index, absence_between(context, units[i - 1], units[i], index)});
  }
  for (int index = last.index + 1; index < planned; ++index) {
    const double at = last.first + (index - last.index) * context.period();
    ladder.missing.push_back({index, absence_at(context, at, softest)});
  }
}

// Whether nothing is heard from a sample to the recording's end.
bool is_silent_from(const Context& context, double at, double level_db) {
  const double first = at + least_seen_s * context.rate();
  if (first + least_seen_s * context.rate() > context.samples()) return false;
  for (const Stretch& stretch : context.stretches) {
    if (stretch.end > first && stretch.level_db > level_db - tone_end_db) return false;
  }
  return true;
}

// --- The ladder ----------------------------------------------------------------------------------

void add_steps(const Context& context, const std::vector<Unit>& units, AlignedLadder& ladder) {
  std::vector<StepPlace> places;
  // Where a step is cut short is known to a frame, and to one and a half cycles. So is where it
  // starts, which what is left out at the edges of a step covers only if that is long.
  constexpr double cycles = 1.5;
  const double cycles_s = context.track.tone ? cycles / context.track.tone->value() : 0.0;
  const double unsure =
      std::max(static_cast<double>(context.track.frame_length), cycles_s * context.rate());
  for (const Unit& unit : units) {
    const double end = unit.whole ? unit.end : unit.end - unsure;
    const double first = unit.whole || unit.first <= 0.0 ? unit.first : unit.first + unsure;
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

// The longest pause from one step to the next.
double longest_pause(const std::vector<Unit>& units) {
  double longest = 0.0;
  for (std::size_t i = 1; i < units.size(); ++i) {
    if (units[i].index == units[i - 1].index + 1)
      longest = std::max(longest, units[i].first - units[i - 1].end);
  }
  return longest;
}

// Where the last tone is heard: the end of the last step, or of what began after it and is too
// short to be one.
double last_heard(const Context& context, const Unit& last) {
  const auto length = static_cast<double>(context.track.frame_length);
  const double over = to_power(last.level_db - tone_end_db);
  const double reach = last.first + context.dwell() + 1.5 * context.period();
  const Frames frames = frames_between(context, std::max(0.0, last.first), reach);
  double heard = last.first;
  for (std::size_t i = frames.first; i < frames.end; ++i) {
    if (context.power[i] >= over) heard = static_cast<double>(i + 1) * length;
  }
  // The edge of a stretch is known better than a frame's.
  for (const Stretch& stretch : context.stretches) {
    if (std::abs(stretch.end - heard) < 1.2 * length) return stretch.end;
  }
  return heard;
}

// Whether the tone ends where a step does.
bool ends_on_time(const Context& context, const Unit& last) {
  const double off = last_heard(context, last) - (last.first + context.dwell());
  return std::abs(off) <= cut_tolerance(context);
}

// Silence beyond a step tells that no other follows only if it is longer than a pause.
Ends ends_of(const Context& context, const std::vector<Unit>& units, Found before, Found after) {
  constexpr double uneven = 1.2;
  const double pause = uneven * longest_pause(units) + least_seen_s * context.rate();
  const Unit& first = units.front();
  const Unit& last = units.back();
  Ends ends;
  ends.start_seen = before == Found::silence && first.whole && first.first > pause;
  ends.end_seen = after == Found::silence && last.whole && ends_on_time(context, last) &&
                  context.samples() - last.end > pause;
  return ends;
}

Ends carry_on_both_ways(const Context& context, std::vector<Unit>& units, int most) {
  const Found after = carry_on(context, units, true, most);
  const Found before = carry_on(context, units, false, most);
  return ends_of(context, units, before, after);
}

// Where the ladder is not known, its player may have been stopped anywhere.
std::optional<Muting> muting(const Context& context, const std::vector<Unit>& units, int planned) {
  if (!context.planned) return std::nullopt;
  const Unit& last = units.back();
  const double heard = last_heard(context, last);
  const bool expected = planned > last.index + 1;
  const bool amid =
      !ends_on_time(context, last) && last.first + context.dwell() < context.samples();
  constexpr double nearly = 0.85;  // of a step; a slow tone's end is not known better
  const bool over = last.index + 1 == planned && last.end - last.first >= nearly * context.dwell();
  if (over || (!amid && !expected)) return std::nullopt;
  if (!is_silent_from(context, std::max(heard, last.end), last.level_db)) return std::nullopt;
  const double pause = context.chain.pace.paused ? context.period() - context.dwell() : 0.0;
  if (!amid && context.samples() - heard < pause + 2.0 * least_seen_s * context.rate())
    return std::nullopt;
  return Muting{last.index, amid, std::llround(heard)};
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
  if (plan.steps > 0) ladder.surplus = std::max(0, span_of(units) - plan.steps);
  const First first = number(context, units, ends, plan);
  ladder.numbering = first.by;
  const int shift = first.index - units.front().index;
  for (Unit& unit : units) unit.index += shift;
  const bool numbered = first.by != Numbering::unknown;
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

namespace {

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
