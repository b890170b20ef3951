// SPDX-License-Identifier: MIT
// What the parts of the alignment of a ladder share: its steps so far, what is heard in a place,
// carrying on from a step to the next, and the steps that are missing.
#include "measure/ladder_parts.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "measure/kernels.hpp"

namespace railtap::measure::ladder_parts {

// What is heard in a place of a recording, and whether a step is whole.

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

// Carries a ladder on from its chain, step by step, to where something else is.

namespace {

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
// The longest pause from one step to the next.
double longest_pause(const std::vector<Unit>& units) {
  double longest = 0.0;
  for (std::size_t i = 1; i < units.size(); ++i) {
    if (units[i].index == units[i - 1].index + 1)
      longest = std::max(longest, units[i].first - units[i - 1].end);
  }
  return longest;
}

}  // namespace

int span_of(const std::vector<Unit>& units) {
  return units.back().index - units.front().index + 1;
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

namespace {

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

}  // namespace

Ends carry_on_both_ways(const Context& context, std::vector<Unit>& units, int most) {
  const Found after = carry_on(context, units, true, most);
  const Found before = carry_on(context, units, false, most);
  return ends_of(context, units, before, after);
}

bool carry_on_later(const Context& context, std::vector<Unit>& units, int most) {
  const Found after = carry_on(context, units, true, most);
  return ends_of(context, units, Found::other, after).end_seen;
}

namespace {

bool goes_with_pace(const Context& context, const Unit& before, const Unit& after) {
  const double periods = (after.first - before.first) / context.period();
  return is_on_time(periods - (after.index - before.index), context.chain.pace, context.rate());
}

}  // namespace

void give_up_softer(const Context& context, std::vector<Unit>& units, int steps) {
  constexpr std::ptrdiff_t least_units = 3;
  if (!context.chain.pace.regular) return;
  while (span_of(units) > steps) {
    const auto off = std::adjacent_find(
        units.begin(), units.end(),
        [&](const Unit& a, const Unit& b) { return !goes_with_pace(context, a, b); });
    if (units.end() - off <= least_units) break;
    units.erase(units.begin(), off + 1);
  }
  const auto is_chained = [&](const Unit& unit) { return unit.index >= 0; };
  if (span_of(units) > steps && units.front().index < 0)
    units.erase(units.begin(), std::find_if(units.begin(), units.end(), is_chained));
  // A syllable may happen to be on the pace; it is not as long as a step.
  const auto is_short = [](const Unit& unit) { return !unit.whole && unit.first > 0.0; };
  while (span_of(units) > steps && std::ssize(units) > least_units && is_short(units.front()))
    units.erase(units.begin());
}

void take_in_earlier(const Context& context, std::vector<Unit>& units) {
  if (!goes_by_time(context)) return;
  const Unit from = units.front();
  std::vector<Unit> earlier;
  for (int index = 0; index < from.index; ++index) {
    const int count = index - from.index;
    const double start = start_near(context, from.first + count * context.period());
    Slot slot = look_at(context, start, range_at(context, units, from, count));
    if (slot.found != Found::step) continue;
    slot.unit.index = index;
    earlier.push_back(slot.unit);
  }
  units.insert(units.begin(), earlier.begin(), earlier.end());
}

// Which steps of a ladder are not there, and why.

namespace {

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

}  // namespace

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

namespace {

// Whether nothing is heard from a sample to the recording's end.
bool is_silent_from(const Context& context, double at, double level_db) {
  const double first = at + least_seen_s * context.rate();
  if (first + least_seen_s * context.rate() > context.samples()) return false;
  for (const Stretch& stretch : context.stretches) {
    if (stretch.end > first && stretch.level_db > level_db - tone_end_db) return false;
  }
  return true;
}

// Whether somebody went on recording: who has stopped the player stops the recorder, too.
bool is_left_running(const Context& context, double heard) {
  constexpr double least_s = 2.0;  // and two steps
  const double silent = context.samples() - heard;
  return silent >= std::max(least_s * context.rate(), 2.0 * context.period());
}

}  // namespace

// Where the ladder is not known, it may be over with any step, but hardly amid one.
std::optional<Muting> muting(const Context& context, const std::vector<Unit>& units, int planned) {
  const Unit& last = units.back();
  const double heard = last_heard(context, last);
  const bool expected = planned > last.index + 1;
  const bool amid =
      !ends_on_time(context, last) && last.first + context.dwell() < context.samples();
  constexpr double nearly = 0.85;  // of a step; a slow tone's end is not known better
  if (!context.planned && !(amid && is_left_running(context, heard))) return std::nullopt;
  const bool over = last.index + 1 == planned && last.end - last.first >= nearly * context.dwell();
  if (over || (!amid && !expected)) return std::nullopt;
  if (!is_silent_from(context, std::max(heard, last.end), last.level_db)) return std::nullopt;
  const double pause = context.chain.pace.paused ? context.period() - context.dwell() : 0.0;
  if (!amid && context.samples() - heard < pause + 2.0 * least_seen_s * context.rate())
    return std::nullopt;
  return Muting{last.index, amid, std::llround(heard)};
}

}  // namespace railtap::measure::ladder_parts
