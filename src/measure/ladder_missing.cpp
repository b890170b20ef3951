// SPDX-License-Identifier: MIT
// Which steps of a ladder are not there, and why.
#include <algorithm>
#include <cmath>

#include "measure/ladder_parts.hpp"

namespace railtap::measure::ladder_parts {

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

}  // namespace

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

}  // namespace railtap::measure::ladder_parts
