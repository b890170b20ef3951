// SPDX-License-Identifier: MIT
// Whether the steps of a recording are those of a level ladder, by the multiples of its rise and
// their times, and which of its steps they are.
#include "measure/ladder.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numeric>
#include <utility>

#include "measure/kernels.hpp"

namespace railtap::measure {

// The pace of a ladder, and where in the recording its steps lie.

namespace {

constexpr std::size_t least_rises = 5;
constexpr double equal_rise_db = 0.1;
constexpr double smallest_rise_db = 0.2;
constexpr double grid_tolerance = 0.08;  // of a step: an edge off by more is not of the ladder
constexpr double worst_jitter_s =
    0.02;  // of a generator's ladder; steps set by hand are far less regular
constexpr double silence_drop_db = 3.0;  // more than this below what is expected: it is over
constexpr double follows_db = 0.5;       // a step of the ladder is where it is expected
constexpr double unsteady_db = 1.0;      // speech and music scatter by more, a tone by less

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
    if (below->deviation > unsteady_db ||
        std::abs(below->level - expected) > follows_db + below->deviation) {
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
    if (next->level < level - silence_drop_db || next->deviation > unsteady_db ||
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

// The best chain of steps by dynamic programming over the stretches of a recording.

namespace {

constexpr double equal_multiple_db = 0.12;  // the same number of steps apart
constexpr double share_of_rise = 0.3;       // and never more than this of a rise
constexpr double pause_db = 3.0;            // a pause is lower than the steps beside it
constexpr std::size_t farthest = 24;        // stretches from a step to the next of the chain
constexpr int longest_jump = 8;             // steps that may be left out in a row
constexpr double same_pace = 0.03;          // of a period
constexpr double same_pace_s = 0.015;       // or this
constexpr double on_time = 0.12;            // of a period
constexpr double on_time_s = 0.025;         // or this
constexpr double on_time_paused = 0.4;      // pauses may be of any length
constexpr double least_pause_s = 0.03;
constexpr double usual_share = 0.5;  // of the single rises that follow at the pace
constexpr std::size_t least_links = 3, least_links_unplanned = 6;

// What a link costs, where a stretch that fits gains 1.
constexpr double steps_left_out = 0.6;  // less time than the rise needs: a step was cut out
constexpr double time_put_in = 1.5;     // more time than that
constexpr double each_hole = 0.05;
constexpr double each_hole_unpaced = 0.3;
constexpr double each_passed_over = 1.5;
constexpr double never = 1e6;
constexpr double least_length = 0.5;  // of a step, for what may be one
constexpr double nearly_whole = 0.9;

double tolerance_db(double rise_db) {
  return std::min(equal_multiple_db, share_of_rise * std::abs(rise_db));
}

// Neighbours, or such with only a pause between them.
bool are_neighbours(const std::vector<Stretch>& all, std::size_t from, std::size_t to) {
  if (to == from + 1) return true;
  const double lower = std::min(all[from].level_db, all[to].level_db);
  return to == from + 2 && all[from + 1].level_db < lower - pause_db;
}

std::vector<double> neighbour_rises(const std::vector<Stretch>& all) {
  std::vector<double> rises;
  for (std::size_t to = 1; to < all.size(); ++to) {
    for (std::size_t from = to >= 2 ? to - 2 : 0; from < to; ++from) {
      if (are_neighbours(all, from, to)) rises.push_back(all[to].level_db - all[from].level_db);
    }
  }
  return rises;
}

// The middle of the densest group of rises; 0 where there are none.
double common_rise(const std::vector<double>& rises) {
  double best = 0.0;
  std::size_t most = 0;
  for (const double candidate : rises) {
    if (std::abs(candidate) < smallest_rise_db) continue;
    std::vector<double> group;
    for (const double rise : rises) {
      if (std::abs(rise - candidate) <= tolerance_db(candidate)) group.push_back(rise);
    }
    if (group.size() <= most) continue;
    most = group.size();
    best = median(group);
  }
  return best;
}

struct Rise {           // by one step
  double time, length;  // to the next start; of the step
};

std::vector<Rise> single_rises(const std::vector<Stretch>& all, double rise_db) {
  std::vector<Rise> result;
  for (std::size_t to = 1; to < all.size(); ++to) {
    for (std::size_t from = to >= 2 ? to - 2 : 0; from < to; ++from) {
      if (!are_neighbours(all, from, to)) continue;
      const double off = all[to].level_db - all[from].level_db - rise_db;
      if (std::abs(off) > tolerance_db(rise_db)) continue;
      // The recording's first stretch may have begun amid the step.
      if (all[from].first > 0.0)
        result.push_back({all[to].first - all[from].first, all[from].length()});
    }
  }
  return result;
}

Pace find_pace(const std::vector<Rise>& rises, double rate) {
  std::vector<double> best_times;
  std::vector<double> best_lengths;
  for (const Rise& candidate : rises) {
    const double near = std::max(same_pace * candidate.time, same_pace_s * rate);
    std::vector<double> times;
    std::vector<double> lengths;
    for (const Rise& rise : rises) {
      if (std::abs(rise.time - candidate.time) > near) continue;
      times.push_back(rise.time);
      lengths.push_back(rise.length);
    }
    if (times.size() <= best_times.size()) continue;
    best_times = times;
    best_lengths = lengths;
  }
  if (best_times.empty()) return {};
  const auto count = static_cast<double>(best_times.size());
  Pace pace{median(best_times), median(best_lengths)};
  constexpr double three_deviations = 3.0 * 1.4826;  // of a median of absolute deviations
  for (double& length : best_lengths) length = std::abs(length - pace.dwell);
  pace.scatter = three_deviations * median(best_lengths);
  pace.regular = best_times.size() >= 2 && count >= usual_share * static_cast<double>(rises.size());
  pace.paused = pace.period - pace.dwell > least_pause_s * rate;
  return pace;
}

class ChainSearch {
 public:
  ChainSearch(const std::vector<Stretch>& all, double rise_db, const Pace& pace, double rate)
      : all_(all), rise_db_(rise_db), pace_(pace), rate_(rate) {}

  std::vector<Link> best() {
    const std::size_t count = all_.size();
    worth_.assign(count, 1.0);
    before_.assign(count, count);
    jump_.assign(count, 0);
    for (std::size_t to = 1; to < count; ++to) {
      for (std::size_t from = to > farthest ? to - farthest : 0; from < to; ++from) link(from, to);
    }
    return backwards_from(
        static_cast<std::size_t>(std::max_element(worth_.begin(), worth_.end()) - worth_.begin()));
  }

 private:
  void link(std::size_t from, std::size_t to) {
    const double rise = all_[to].level_db - all_[from].level_db;
    const double jump = std::round(rise / rise_db_);
    if (jump < 1.0 || jump > longest_jump) return;
    if (std::abs(rise - jump * rise_db_) > tolerance_db(rise_db_)) return;
    const double worth = worth_[from] + 1.0 - cost(from, to, jump) - passed_over(from, to, jump);
    if (worth <= worth_[to]) return;
    worth_[to] = worth;
    before_[to] = from;
    jump_[to] = static_cast<int>(jump);
  }

  [[nodiscard]] double cost(std::size_t from, std::size_t to, double jump) const {
    if (!pace_.regular) return each_hole_unpaced * (jump - 1.0);
    const double late = periods_between(all_[from], all_[to], pace_) - jump;
    const double hole = each_hole * (jump - 1.0);
    if (is_on_time(late, pace_, rate_)) return hole;
    // What follows a step that was cut out is a whole one; a syllable over the tone is not as long.
    if (late < 0.0 && all_[to].length() < nearly_whole * pace_.dwell) return never;
    return hole + (late < 0.0 ? steps_left_out : time_put_in);
  }

  // Steps in between that would have to be something else.
  [[nodiscard]] double passed_over(std::size_t from, std::size_t to, double jump) const {
    const double softer = std::min(all_[from].level_db, all_[to].level_db) - pause_db;
    double steps = 0.0;
    for (std::size_t i = from + 1; i < to; ++i) {
      const bool is_step =
          all_[i].level_db > softer && all_[i].length() > least_length * pace_.dwell;
      steps += is_step ? 1.0 : 0.0;
    }
    return each_passed_over * std::max(0.0, steps - (jump - 1.0));
  }

  [[nodiscard]] std::vector<Link> backwards_from(std::size_t last) const {
    std::vector<std::size_t> chain{last};
    while (before_[chain.back()] < all_.size()) chain.push_back(before_[chain.back()]);
    std::reverse(chain.begin(), chain.end());
    std::vector<Link> links{{chain.front(), 0}};
    for (std::size_t i = 1; i < chain.size(); ++i)
      links.push_back({chain[i], links.back().index + jump_[chain[i]]});
    return links;
  }

  const std::vector<Stretch>& all_;
  double rise_db_;
  Pace pace_;
  double rate_;
  std::vector<double> worth_;
  std::vector<std::size_t> before_;
  std::vector<int> jump_;
};

// The period by least squares over the longest run of links without holes.
double refined_period(const std::vector<Stretch>& all, const LadderChain& chain) {
  double best = chain.pace.period;
  std::size_t longest = 2;
  std::size_t first = 0;
  for (std::size_t i = 1; i <= chain.links.size(); ++i) {
    const bool runs_on = i < chain.links.size() &&
                         chain.links[i].index == chain.links[i - 1].index + 1 &&
                         std::abs(periods_between(all[chain.links[i - 1].stretch],
                                                  all[chain.links[i].stretch], chain.pace) -
                                  1.0) < on_time;
    if (runs_on) continue;
    const std::size_t count = i - first;
    if (count > longest) {
      longest = count;
      double cross = 0.0;
      double square = 0.0;
      const double middle = 0.5 * static_cast<double>(count - 1);
      for (std::size_t k = 0; k < count; ++k) {
        const double x = static_cast<double>(k) - middle;
        cross += x * start_of(all[chain.links[first + k].stretch], chain.pace);
        square += x * x;
      }
      best = cross / square;
    }
    first = i;
  }
  return best;
}

}  // namespace

bool is_on_time(double late, const Pace& pace, double rate) {
  const double near =
      pace.paused ? on_time_paused : std::max(on_time, on_time_s * rate / pace.period);
  return std::abs(late) <= near;
}

double start_of(const Stretch& stretch, const Pace& pace) {
  return stretch.first > 0.0 ? stretch.first : std::min(0.0, stretch.end - pace.dwell);
}

double periods_between(const Stretch& from, const Stretch& to, const Pace& pace) {
  return (to.first - start_of(from, pace)) / pace.period;
}

std::optional<LadderChain> find_chain(const std::vector<Stretch>& stretches,
                                      std::optional<double> rise_db, Hertz rate) {
  LadderChain chain;
  chain.rise_db = rise_db ? *rise_db : common_rise(neighbour_rises(stretches));
  if (chain.rise_db == 0.0) return std::nullopt;
  const auto rises = single_rises(stretches, chain.rise_db);
  if (rises.empty()) return std::nullopt;
  chain.pace = find_pace(rises, rate.value());
  if (!rise_db && !chain.pace.regular) return std::nullopt;
  chain.links = ChainSearch(stretches, chain.rise_db, chain.pace, rate.value()).best();
  if (chain.links.size() < (rise_db ? least_links : least_links_unplanned)) return std::nullopt;
  if (chain.pace.regular) chain.pace.period = refined_period(stretches, chain);
  return chain;
}

}  // namespace railtap::measure
