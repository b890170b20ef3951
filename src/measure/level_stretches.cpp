// SPDX-License-Identifier: MIT
// A recording cut by its level: into stretches of one level, however short, with the pauses between
// them; and, where a hand moves it, into rests and slices that can be measured.
#include "measure/level_stretches.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>

#include "measure/kernels.hpp"

namespace railtap::measure {

// A recording cut into stretches of one level.

namespace {

// In frames of 10 ms.
constexpr std::size_t longest_piece = 300;   // longer ones are put together again
constexpr std::size_t shortest_stretch = 3;  // and what smoothing adds to a transition
constexpr std::size_t scatter_reach = 25;

constexpr double least_scatter_db = 0.05;   // what 20 half cycles to a frame ripple by
constexpr double cost_of_a_piece = 25.0;    // variances
constexpr double same_level_db = 0.12;      // as of plateaus, see `find_plateaus`
constexpr double drop_out_db = 6.0;         // an interruption lower than this is a pause
constexpr double ripple_allowed_db = 0.08;  // frame to frame; more: the frames hold few cycles
constexpr double normal_deviation_of_median = 1.4826;

double to_db(double mean_square) {
  return 10.0 * std::log10(mean_square);
}

// Sums over the frames before each, of weights and of weighted levels.
struct Sums {
  std::vector<double> w, wx, wxx;
  [[nodiscard]] double cost(std::size_t first, std::size_t end) const {
    const double weight = w[end] - w[first];
    const double sum = wx[end] - wx[first];
    return wxx[end] - wxx[first] - sum * sum / weight;
  }
};

// Typical difference of neighbouring frames of about this level around each, as a standard
// deviation of one frame: noise in pauses scatters more than the tone between them.
std::vector<double> scatter(const std::vector<double>& level) {
  constexpr double like_level_db = 3.0;
  std::vector<double> result(level.size());
  std::vector<double> window;
  for (std::size_t i = 0; i < level.size(); ++i) {
    const std::size_t first = std::max<std::size_t>(1, i - std::min(i, scatter_reach));
    const std::size_t end = std::min(level.size(), i + scatter_reach + 1);
    window.assign(1, least_scatter_db);
    for (std::size_t k = first; k < end; ++k) {
      if (std::abs(level[k] - level[i]) < like_level_db)
        window.push_back(std::abs(level[k] - level[k - 1]));
    }
    const double deviation =
        normal_deviation_of_median * median_reordering(window) / std::sqrt(2.0);
    result[i] = std::max(least_scatter_db, deviation);
  }
  return result;
}

Sums sums_of(const std::vector<double>& level) {
  const std::vector<double> deviation = scatter(level);
  Sums sums;
  for (auto* list : {&sums.w, &sums.wx, &sums.wxx}) list->assign(level.size() + 1, 0.0);
  for (std::size_t i = 0; i < level.size(); ++i) {
    const double weight = 1.0 / (deviation[i] * deviation[i]);
    sums.w[i + 1] = sums.w[i] + weight;
    sums.wx[i + 1] = sums.wx[i] + weight * level[i];
    sums.wxx[i + 1] = sums.wxx[i] + weight * level[i] * level[i];
  }
  return sums;
}

struct Piece {
  std::size_t first, end;  // frames
  double level;            // dB
  [[nodiscard]] std::size_t size() const { return end - first; }
};

// Where the last piece of the best cut of the first j frames begins, for each j.
std::vector<std::size_t> best_cuts(const Sums& sums, std::size_t frames) {
  std::vector<double> best(frames + 1, 0.0);
  std::vector<std::size_t> cut(frames + 1, 0);
  std::vector<std::size_t> candidates{0};
  std::vector<double> costs;
  for (std::size_t end = 1; end <= frames; ++end) {
    costs.clear();
    best[end] = INFINITY;
    for (const std::size_t first : candidates) {
      costs.push_back(best[first] + sums.cost(first, end));
      if (costs.back() + cost_of_a_piece >= best[end]) continue;
      best[end] = costs.back() + cost_of_a_piece;
      cut[end] = first;
    }
    std::size_t kept = 0;
    for (std::size_t i = 0; i < candidates.size(); ++i) {
      const bool hopeless = costs[i] > best[end] || candidates[i] + longest_piece <= end;
      if (!hopeless) candidates[kept++] = candidates[i];
    }
    candidates.resize(kept);
    candidates.push_back(end);
  }
  return cut;
}

std::vector<Piece> pieces_of(const std::vector<double>& level) {
  const Sums sums = sums_of(level);
  const std::vector<std::size_t> cut = best_cuts(sums, level.size());
  std::vector<Piece> pieces;
  for (std::size_t end = level.size(); end > 0; end = cut[end]) {
    const std::size_t first = cut[end];
    const double mean = (sums.wx[end] - sums.wx[first]) / (sums.w[end] - sums.w[first]);
    pieces.push_back({first, end, mean});
  }
  std::reverse(pieces.begin(), pieces.end());
  return pieces;
}

Piece joined(const Piece& a, const Piece& b) {
  const auto size_a = static_cast<double>(a.size());
  const auto size_b = static_cast<double>(b.size());
  return {a.first, b.end, (a.level * size_a + b.level * size_b) / (size_a + size_b)};
}

// Neighbours of one level are one piece.
std::vector<Piece> joined_neighbours(const std::vector<Piece>& pieces) {
  std::vector<Piece> result;
  for (const Piece& piece : pieces) {
    const bool joins = !result.empty() && result.back().end == piece.first &&
                       std::abs(result.back().level - piece.level) < same_level_db;
    if (joins) {
      result.back() = joined(result.back(), piece);
    } else {
      result.push_back(piece);
    }
  }
  return result;
}

// Without what is short. Two pieces of one level with something short between them that is no pause
// are one.
std::vector<Piece> without_short(const std::vector<Piece>& pieces, std::size_t shortest) {
  std::vector<Piece> result;
  double lowest_between = 0.0;
  bool between = false;
  for (const Piece& piece : pieces) {
    if (piece.size() < shortest) {
      lowest_between = between ? std::min(lowest_between, piece.level) : piece.level;
      between = true;
      continue;
    }
    const bool near = !result.empty() && piece.first - result.back().end <= shortest;
    const bool same = near && std::abs(result.back().level - piece.level) < same_level_db;
    const bool paused = between && lowest_between < piece.level - drop_out_db;
    if (same && !paused) {
      const double level = joined(result.back(), piece).level;
      result.back() = {result.back().first, piece.end, level};
    } else {
      result.push_back(piece);
    }
    between = false;
  }
  return result;
}

struct Context {
  const LevelTrack& track;
  std::vector<double> power;  // mean square of each frame
  std::size_t reach;          // frames to each side that have a part in a level
  std::vector<double> level;  // dB, averaged
};

double mean_power(const Context& context, std::size_t first, std::size_t end) {
  double sum = 0.0;
  for (std::size_t i = first; i < end; ++i) sum += context.power[i];
  return sum / static_cast<double>(end - first);
}

// The edge between two pieces, in frames: what is on its way between them holds as much power as so
// many frames of the first and the rest of the second.
double edge_between(const Context& context, const Piece& before, const Piece& after) {
  const std::size_t reach = context.reach + 1;
  const std::size_t first = before.end - std::min(reach, before.size() / 2);
  const std::size_t end = after.first + std::min(reach, after.size() / 2);
  const std::size_t plain_before = first - std::min(first - before.first, 4 * reach);
  const std::size_t plain_after = end + std::min(after.end - end, 4 * reach);
  const auto count = static_cast<double>(end - first);
  if (plain_before == first || plain_after == end)
    return 0.5 * static_cast<double>(before.end + after.first);
  const double low = mean_power(context, plain_before, first);
  const double high = mean_power(context, end, plain_after);
  const double share = (mean_power(context, first, end) - high) / (low - high);
  if (!(share >= 0.0 && share <= 1.0)) return 0.5 * static_cast<double>(before.end + after.first);
  return static_cast<double>(first) + share * count;
}

double median_level(const Context& context, const Piece& piece) {
  return median({context.level.begin() + static_cast<std::ptrdiff_t>(piece.first),
                 context.level.begin() + static_cast<std::ptrdiff_t>(piece.end)});
}

std::vector<Stretch> with_edges(const Context& context, const std::vector<Piece>& pieces) {
  const auto length = static_cast<double>(context.track.frame_length);
  std::vector<Stretch> result;
  result.reserve(pieces.size());
  for (const Piece& piece : pieces) {
    result.push_back({static_cast<double>(piece.first) * length,
                      static_cast<double>(piece.end) * length, median_level(context, piece)});
  }
  constexpr std::size_t longest_transition = 8;
  for (std::size_t i = 1; i < pieces.size(); ++i) {
    if (pieces[i].first - pieces[i - 1].end > longest_transition) continue;
    const double edge = edge_between(context, pieces[i - 1], pieces[i]) * length;
    result[i - 1].end = edge;
    result[i].first = edge;
  }
  if (!result.empty() && pieces.back().end == context.power.size())
    result.back().end = static_cast<double>(context.track.samples);
  return result;
}

// Weights of a frame and of those to each side of it. The second takes out what alternates from
// frame to frame, as half cycles of 50 Hz do where the offset is not quite known; the last is 50
// ms.
constexpr std::array<std::array<double, 3>, 3> smoothings{
    {{1.0, 0.0, 0.0}, {0.5, 0.25, 0.0}, {0.2, 0.2, 0.2}}};

std::vector<double> levels_of(const std::vector<double>& power,
                              const std::array<double, 3>& weights) {
  std::vector<double> level(power.size());
  const auto at = [&](std::ptrdiff_t i) {
    return power[static_cast<std::size_t>(
        std::clamp<std::ptrdiff_t>(i, 0, static_cast<std::ptrdiff_t>(power.size()) - 1))];
  };
  for (std::ptrdiff_t i = 0; i < static_cast<std::ptrdiff_t>(power.size()); ++i) {
    double sum = weights[0] * at(i);
    for (std::ptrdiff_t k = 1; k < 3; ++k) {
      sum += weights[static_cast<std::size_t>(k)] * (at(i - k) + at(i + k));
    }
    level[static_cast<std::size_t>(i)] = to_db(sum);
  }
  return level;
}

// Frame to frame, in what is loud.
double ripple_db(const std::vector<double>& level) {
  constexpr double loud_db = 20.0;
  constexpr double clicks = 0.02;  // of the frames
  std::vector<double> sorted = level;
  const auto loudest =
      sorted.end() - 1 - static_cast<std::ptrdiff_t>(clicks * static_cast<double>(sorted.size()));
  std::nth_element(sorted.begin(), loudest, sorted.end());
  std::vector<double> differences;
  for (std::size_t i = 1; i < level.size(); ++i) {
    if (level[i] >= *loudest - loud_db) differences.push_back(std::abs(level[i] - level[i - 1]));
  }
  return differences.empty() ? 0.0 : median(std::move(differences));
}

}  // namespace

std::vector<double> short_term_power(const LevelTrack& track) {
  constexpr double silence = 1e-14;
  constexpr std::array<double, 3> weights{0.25, 0.25, 0.125};  // none of 25, 50, 75, … Hz is left
  const auto last = static_cast<std::ptrdiff_t>(track.frames.size()) - 1;
  const auto mean_at = [&](std::ptrdiff_t i) {
    return double{
        track.frames[static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(i, 0, last))].mean};
  };
  std::vector<double> result(track.frames.size());
  for (std::ptrdiff_t i = 0; i <= last; ++i) {
    double dc = weights[0] * mean_at(i);
    for (std::ptrdiff_t k = 1; k < 3; ++k)
      dc += weights[static_cast<std::size_t>(k)] * (mean_at(i - k) + mean_at(i + k));
    const TrackFrame& frame = track.frames[static_cast<std::size_t>(i)];
    const double about_dc = frame.mean_square - 2.0 * dc * frame.mean + dc * dc;
    result[static_cast<std::size_t>(i)] = std::max(about_dc, silence);
  }
  return result;
}

std::vector<Stretch> find_stretches(const LevelTrack& track) {
  if (track.frames.size() < shortest_stretch) return {};
  Context context{track, short_term_power(track), 0, {}};
  context.level = levels_of(context.power, smoothings[0]);
  while (ripple_db(context.level) > ripple_allowed_db && context.reach + 1 < smoothings.size()) {
    context.level = levels_of(context.power, smoothings.at(++context.reach));
  }
  const auto pieces = without_short(joined_neighbours(pieces_of(context.level)),
                                    shortest_stretch + 2 * context.reach);
  return with_edges(context, joined_neighbours(pieces));
}

// A level that a hand moves, cut into rests and slices.

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

struct TurnContext {
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

double drift_of(const TurnContext& context, Frames part) {
  const auto level = std::span(context.level).subspan(part.first, part.size());
  return slope_of(level) * static_cast<double>(part.size());
}

Frames frames_of(const LevelTrack& track, std::int64_t first, std::int64_t end) {
  return {static_cast<std::size_t>(first / track.frame_length),
          static_cast<std::size_t>(end / track.frame_length)};
}

double range_of(const TurnContext& context, Frames part) {
  const auto at = [&](std::size_t frame) {
    return context.level.begin() + static_cast<std::ptrdiff_t>(frame);
  };
  const auto [low, high] = std::minmax_element(at(part.first), at(part.end));
  return *high - *low;
}

// A level that creeps, or that the hand only brings to rest within the plateau, is no rest.
bool rests(const TurnContext& context, const Step& step) {
  const Frames whole = frames_of(context.track, step.first, step.end);
  const Frames inner = frames_of(context.track, step.inner_first, step.inner_end);
  if (step.gliding || whole.size() == 0 || inner.size() == 0) return false;
  const double drift = drift_of(context, inner);
  return std::abs(drift) <= creeping_db && range_of(context, whole) <= resting_db;
}

bool can_be_measured(const TurnContext& context, Frames part) {
  const double seconds = static_cast<double>(part.size()) * context.track.frame_seconds();
  const auto from = context.level.begin() + static_cast<std::ptrdiff_t>(part.first);
  const auto to = context.level.begin() + static_cast<std::ptrdiff_t>(part.end);
  return *std::min_element(from, to) >= context.softest &&
         range_of(context, part) <= fastest_db_per_s * seconds;
}

Step slice_of(const TurnContext& context, Frames part) {
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

void add_slices(const TurnContext& context, Frames turn, std::vector<Step>& steps) {
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
  TurnContext context{track, smoothed_level(track)};
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
