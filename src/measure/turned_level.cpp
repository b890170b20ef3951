// SPDX-License-Identifier: MIT
// A level that a hand moves, cut into rests and slices.
#include "measure/turned_level.hpp"

#include <algorithm>
#include <cmath>
#include <span>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

// In frames of 10 ms.
constexpr std::size_t longest_slice = 12;
constexpr std::size_t shortest_slice = 4;
constexpr std::size_t shortest_unknown_slice = 8;  // four cycles of 50 Hz
// A jump is smeared over 50 ms, and the rests at its sides are trimmed by a little more.
constexpr std::size_t shortest_turn = 12;

constexpr double cycles_of_slice = 4.0;  // what its envelopes take
constexpr double slice_db = 0.8;
constexpr double resting_db = 0.25;   // range of the smoothed level, its trimmed ends included
constexpr double creeping_db = 0.05;  // from end to end of what is measured
constexpr double fastest_db_per_s = 30.0;
constexpr double softest_re_loudest_db = -80.0;
constexpr double silence_db = -110.0;

struct Frames {
  std::size_t first, end;
  [[nodiscard]] std::size_t size() const { return end > first ? end - first : 0; }
};

struct Context {
  const LevelTrack& track;
  std::vector<double> level;
  double softest = 0.0;
  std::size_t shortest = 0;  // slice
};

std::size_t shortest_of(const LevelTrack& track) {
  if (!track.tone) return shortest_unknown_slice;
  const double seconds = cycles_of_slice / track.tone->value();
  return std::max(shortest_slice,
                  static_cast<std::size_t>(std::ceil(seconds / track.frame_seconds())));
}

double drift_of(const Context& context, Frames part) {
  const auto level = std::span(context.level).subspan(part.first, part.size());
  return slope_of(level) * static_cast<double>(part.size());
}

Frames frames_of(const LevelTrack& track, std::int64_t first, std::int64_t end) {
  return {static_cast<std::size_t>(first / track.frame_length),
          static_cast<std::size_t>(end / track.frame_length)};
}

double range_of(const Context& context, Frames part) {
  const auto at = [&](std::size_t frame) {
    return context.level.begin() + static_cast<std::ptrdiff_t>(frame);
  };
  const auto [low, high] = std::minmax_element(at(part.first), at(part.end));
  return *high - *low;
}

// A level that creeps, or that the hand only brings to rest within the plateau, is no rest.
bool rests(const Context& context, const Step& step) {
  const Frames whole = frames_of(context.track, step.first, step.end);
  const Frames inner = frames_of(context.track, step.inner_first, step.inner_end);
  if (step.gliding || whole.size() == 0 || inner.size() == 0) return false;
  const double drift = drift_of(context, inner);
  return std::abs(drift) <= creeping_db && range_of(context, whole) <= resting_db;
}

bool can_be_measured(const Context& context, Frames part) {
  const double seconds = static_cast<double>(part.size()) * context.track.frame_seconds();
  const auto from = context.level.begin() + static_cast<std::ptrdiff_t>(part.first);
  const auto to = context.level.begin() + static_cast<std::ptrdiff_t>(part.end);
  return *std::min_element(from, to) >= context.softest &&
         range_of(context, part) <= fastest_db_per_s * seconds;
}

Step slice_of(const Context& context, Frames part) {
  const std::int64_t length = context.track.frame_length;
  Step step;
  step.first = step.inner_first = static_cast<std::int64_t>(part.first) * length;
  step.end = step.inner_end = static_cast<std::int64_t>(part.end) * length;
  step.level_db = median({context.level.begin() + static_cast<std::ptrdiff_t>(part.first),
                          context.level.begin() + static_cast<std::ptrdiff_t>(part.end)});
  step.gliding = true;
  step.rise_db = drift_of(context, part);
  return step;
}

void add_slices(const Context& context, Frames turn, std::vector<Step>& steps) {
  if (turn.size() < std::max(shortest_turn, context.shortest)) return;
  std::size_t first = turn.first;
  while (first + context.shortest <= turn.end) {
    Frames part{first, first + context.shortest};
    while (part.size() < longest_slice && part.end < turn.end &&
           range_of(context, {part.first, part.end + 1}) <= slice_db) {
      ++part.end;
    }
    if (can_be_measured(context, part)) steps.push_back(slice_of(context, part));
    first = part.end;
  }
}

}  // namespace

std::vector<Step> cut_turned(const LevelTrack& track, const std::vector<Step>& plateaus) {
  if (track.frames.empty()) return {};
  Context context{track, smoothed_level(track)};
  const double loudest = *std::max_element(context.level.begin(), context.level.end());
  context.softest = std::max(silence_db, loudest + softest_re_loudest_db);
  context.shortest = shortest_of(track);
  std::vector<Step> steps;
  std::size_t moving = 0;
  for (const Step& plateau : plateaus) {
    if (!rests(context, plateau)) continue;
    const Frames rest = frames_of(track, plateau.first, plateau.end);
    add_slices(context, {moving, rest.first}, steps);
    steps.push_back(plateau);
    moving = rest.end;
  }
  add_slices(context, {moving, context.level.size()}, steps);
  for (std::size_t i = 0; i < steps.size(); ++i) steps[i].index = static_cast<int>(i);
  return steps;
}

}  // namespace railtap::measure
