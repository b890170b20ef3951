// SPDX-License-Identifier: MIT
// The pace of a ladder, and where in the recording its steps lie.
#include "measure/ladder.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numeric>
#include <utility>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

constexpr std::size_t least_rises = 5;
constexpr double equal_rise_db = 0.1;
constexpr double smallest_rise_db = 0.2;
constexpr double grid_tolerance = 0.08;  // of a step: an edge off by more is not of the ladder
constexpr double worst_jitter_s =
    0.02;  // of a generator's ladder; steps set by hand are far less regular
constexpr double silence_drop_db = 3.0;  // more than this below what is expected: it is over
constexpr double follows_db = 0.5;       // a step of the ladder is where it is expected

struct Edge {
  double at;       // samples
  double rise_db;  // level after over before
};

std::vector<Edge> edges_between(const std::vector<Step>& plateaus) {
  std::vector<Edge> result;
  for (std::size_t i = 0; i + 1 < plateaus.size(); ++i) {
    const double at = 0.5 * static_cast<double>(plateaus[i].end + plateaus[i + 1].first);
    result.push_back({at, plateaus[i + 1].level_db - plateaus[i].level_db});
  }
  return result;
}

// The rise that most edges share: the middle of the densest group.
double common_rise(const std::vector<Edge>& edges) {
  double best = 0.0;
  std::size_t most = 0;
  for (const Edge& candidate : edges) {
    if (candidate.rise_db < smallest_rise_db) continue;
    std::vector<double> group;
    for (const Edge& edge : edges) {
      if (std::abs(edge.rise_db - candidate.rise_db) <= equal_rise_db)
        group.push_back(edge.rise_db);
    }
    if (group.size() <= most) continue;
    most = group.size();
    best = median(group);
  }
  return best;
}

struct Context {
  const LevelTrack& track;
  std::vector<double> level;
};

struct Line {
  double start = 0.0, slope = 0.0, rms = 0.0;
};
// Least squares of at = start + slope·index.
Line fit_line(const std::vector<double>& index, const std::vector<double>& at) {
  const auto count = static_cast<double>(index.size());
  const double mean_index = std::accumulate(index.begin(), index.end(), 0.0) / count;
  const double mean_at = std::accumulate(at.begin(), at.end(), 0.0) / count;
  double cross = 0.0;
  double square = 0.0;
  for (std::size_t i = 0; i < index.size(); ++i) {
    cross += (index[i] - mean_index) * (at[i] - mean_at);
    square += (index[i] - mean_index) * (index[i] - mean_index);
  }
  Line line;
  line.slope = cross / square;
  line.start = mean_at - line.slope * mean_index;
  for (std::size_t i = 0; i < index.size(); ++i) {
    const double off = at[i] - line.start - line.slope * index[i];
    line.rms += off * off / count;
  }
  line.rms = std::sqrt(line.rms);
  return line;
}

// The pace from the equal rises: the median distance of neighbours first, then a line through all
// edges that lie on that grid.
std::optional<Line> pace(const std::vector<Edge>& rises) {
  std::vector<double> distances;
  for (std::size_t i = 0; i + 1 < rises.size(); ++i)
    distances.push_back(rises[i + 1].at - rises[i].at);
  Line line;
  line.slope = median(distances);
  // Start at the edge with most others on the grid through it.
  std::size_t most = 0;
  std::vector<double> index;
  std::vector<double> at;
  for (const Edge& origin : rises) {
    std::vector<double> on_index;
    std::vector<double> on_at;
    for (const Edge& edge : rises) {
      const double steps = (edge.at - origin.at) / line.slope;
      if (std::abs(steps - std::round(steps)) > grid_tolerance) continue;
      on_index.push_back(std::round(steps));
      on_at.push_back(edge.at);
    }
    if (on_index.size() <= most) continue;
    most = on_index.size();
    index = on_index;
    at = on_at;
    line.start = origin.at;
  }
  if (most < least_rises) return std::nullopt;
  return fit_line(index, at);
}

struct StepLevel {
  double level, deviation;  // dB
};
// Level in the middle of the step that starts at a sample; none where the recording does not hold
// it.
std::optional<StepLevel> level_of_step(const Context& context, double start, double dwell) {
  const auto length = static_cast<double>(context.track.frame_length);
  const double first = (start + 0.2 * dwell) / length;
  const double end = (start + 0.9 * dwell) / length;
  if (first < 0.0 || end > static_cast<double>(context.level.size())) return std::nullopt;
  const auto from = static_cast<std::ptrdiff_t>(first);
  const auto to = std::max(from + 1, static_cast<std::ptrdiff_t>(end));
  const std::vector<double> part(context.level.begin() + from, context.level.begin() + to);
  const double middle = median(part);
  double squares = 0.0;
  for (const double level : part) squares += (level - middle) * (level - middle);
  return StepLevel{middle, std::sqrt(squares / static_cast<double>(part.size()))};
}

// Goes down the grid as long as the level falls as a ladder's does.
void extend_down(const Context& context, Ladder& ladder, double level) {
  for (;;) {
    const auto below =
        level_of_step(context, ladder.grid.first - ladder.grid.dwell, ladder.grid.dwell);
    if (!below) return;
    const double expected = level - ladder.rise_db;
    if (std::abs(below->level - expected) > follows_db + below->deviation) {
      ladder.start_seen = below->level < expected - silence_drop_db;
      return;
    }
    ladder.grid.first -= ladder.grid.dwell;
    ++ladder.grid.steps;
    level = below->level;
  }
}

// Goes up the grid until the tone ends. A stage that protects itself may fall a little; silence,
// or the next item of a programme, is another matter.
void extend_up(const Context& context, Ladder& ladder, double level) {
  for (;;) {
    const double start = ladder.grid.first + ladder.grid.dwell * ladder.grid.steps;
    const auto next = level_of_step(context, start, ladder.grid.dwell);
    if (!next) return;
    if (next->level < level - silence_drop_db || next->deviation > 1.0 ||
        next->level > level + ladder.rise_db + follows_db) {
      ladder.end_seen = next->level < level - silence_drop_db;
      return;
    }
    ++ladder.grid.steps;
    level = std::max(level, next->level);
  }
}

std::optional<Ladder> find_rising(const LevelTrack& track, const std::vector<Step>& plateaus,
                                  std::optional<double> rise_db) {
  const std::vector<Edge> all = edges_between(plateaus);
  const double rise = rise_db ? *rise_db : common_rise(all);
  std::vector<Edge> rises;
  for (const Edge& edge : all) {
    if (std::abs(edge.rise_db - rise) <= equal_rise_db) rises.push_back(edge);
  }
  if (rises.size() < least_rises) return std::nullopt;
  const std::optional<Line> line = pace(rises);
  if (!line || line->rms > worst_jitter_s * track.rate.value()) return std::nullopt;

  const Context context{track, smoothed_level(track)};
  Ladder ladder;
  ladder.grid.dwell = line->slope;
  ladder.jitter = line->rms;
  ladder.grid.steps = 1;
  std::vector<double> equal;
  equal.reserve(rises.size());
  for (const Edge& edge : rises) equal.push_back(edge.rise_db);
  ladder.rise_db = median(equal);
  // The step that the first rise leads to.
  ladder.grid.first =
      line->start + line->slope * std::round((rises.front().at - line->start) / line->slope);
  const auto level = level_of_step(context, ladder.grid.first, ladder.grid.dwell);
  if (!level) return std::nullopt;
  extend_down(context, ladder, level->level);
  // Up from the same step again.
  extend_up(context, ladder, level->level);
  return ladder;
}

// The recording backwards: a falling ladder rises.
LevelTrack mirrored(const LevelTrack& track) {
  LevelTrack result = track;
  std::reverse(result.frames.begin(), result.frames.end());
  return result;
}

std::int64_t length_of(const LevelTrack& track) {
  return static_cast<std::int64_t>(track.frames.size()) * track.frame_length;
}

std::vector<Step> mirrored(const std::vector<Step>& steps, std::int64_t length) {
  std::vector<Step> result = steps;
  std::reverse(result.begin(), result.end());
  for (Step& step : result) {
    step.first = length - std::exchange(step.end, length - step.first);
    step.inner_first = length - std::exchange(step.inner_end, length - step.inner_first);
  }
  return result;
}

std::optional<Ladder> find_falling(const LevelTrack& track, const std::vector<Step>& plateaus,
                                   std::optional<double> fall_db) {
  const std::int64_t length = length_of(track);
  auto ladder = find_rising(mirrored(track), mirrored(plateaus, length), fall_db);
  if (!ladder) return std::nullopt;
  Grid& grid = ladder->grid;
  grid.first = static_cast<double>(length) - grid.first - grid.dwell * grid.steps;
  ladder->rise_db = -ladder->rise_db;
  std::swap(ladder->start_seen, ladder->end_seen);
  return ladder;
}

// A grid of the plan's length whose step `index` is the found ladder's first.
Grid whole_grid(const Grid& found, const LadderPlan& plan, int index) {
  return {found.first - found.dwell * index, found.dwell, plan.steps};
}

Placement place_by_marker(const std::optional<Ladder>& ladder, const LadderPlan& plan) {
  const Grid& nominal = *plan.nominal;
  Placement placement{Fit::whole, nominal, plan.steps};
  if (!ladder) return placement;
  // The pace that was found is the recorder's; the marker gives the number of each step.
  constexpr double same_pace = 0.02;
  if (std::abs(ladder->grid.dwell / nominal.dwell - 1.0) > same_pace) return placement;
  const double index = (ladder->grid.first - nominal.first) / ladder->grid.dwell;
  placement.grid = whole_grid(ladder->grid, plan, static_cast<int>(std::lround(index)));
  return placement;
}

// The recording may hold other ladders.
std::vector<Step> steps_within(const std::vector<Step>& steps, const Grid& grid) {
  const double end = grid.first + grid.dwell * (grid.steps + 1);
  std::vector<Step> result;
  for (const Step& step : steps) {
    const bool inside = static_cast<double>(step.first) > grid.first - grid.dwell &&
                        static_cast<double>(step.end) < end;
    if (inside) result.push_back(step);
  }
  return result;
}

Placement place_by_ends(const Ladder& ladder, const LadderPlan& plan) {
  const int found = ladder.grid.steps;
  if (found > plan.steps) return {Fit::too_many, ladder.grid, found};
  if (found == plan.steps) return {Fit::whole, ladder.grid, found};
  if (ladder.start_seen && ladder.end_seen) return {Fit::too_few, ladder.grid, found};
  if (ladder.start_seen) return {Fit::cut_short, whole_grid(ladder.grid, plan, 0), found};
  if (ladder.end_seen) {
    return {Fit::cut_short, whole_grid(ladder.grid, plan, plan.steps - found), found};
  }
  return {Fit::ambiguous, ladder.grid, found};
}

}  // namespace

std::optional<Ladder> find_ladder(const LevelTrack& track, const std::vector<Step>& plateaus,
                                  std::optional<double> rise_db) {
  if (rise_db) {
    return *rise_db > 0.0 ? find_rising(track, plateaus, *rise_db)
                          : find_falling(track, plateaus, -*rise_db);
  }
  auto rising = find_rising(track, plateaus, {});
  return rising ? rising : find_falling(track, plateaus, {});
}

Placement place_ladder(const LevelTrack& track, const std::vector<Step>& plateaus,
                       const LadderPlan& plan) {
  if (plan.nominal) {
    const auto near = steps_within(plateaus, *plan.nominal);
    return place_by_marker(find_ladder(track, near, plan.rise_db), plan);
  }
  const auto ladder = find_ladder(track, plateaus, plan.rise_db);
  if (!ladder) return {};
  return place_by_ends(*ladder, plan);
}

}  // namespace railtap::measure
