// SPDX-License-Identifier: MIT
// The level of a recording over time, and the stretches in which it is steady.
#include "measure/steps.hpp"

#include <algorithm>
#include <cmath>

#include "measure/kernels.hpp"
#include "measure/tone.hpp"

namespace railtap::measure {
namespace {

constexpr double frame_s = 0.01;  // half a cycle of 50 Hz
constexpr std::ptrdiff_t mean_reach = 2;
constexpr std::ptrdiff_t median_reach = 5;
constexpr double silence = 1e-14;  // mean square: −140 dB
constexpr std::ptrdiff_t dc_reach =
    25;  // 0.5 s: whole cycles or many of any tone, and it follows a coupling's drift
constexpr std::ptrdiff_t disturbance_reach = 10;
constexpr std::int64_t stretch_frames = 25;
constexpr double disturbed_level_db = 1.0;
constexpr double disturbed_peak_ratio = 1.12;  // 1 dB

struct Reach {
  std::size_t first, end;
};
Reach around(std::size_t at, std::ptrdiff_t reach, std::size_t size) {
  const auto centre = static_cast<std::ptrdiff_t>(at);
  return {
      static_cast<std::size_t>(std::max<std::ptrdiff_t>(0, centre - reach)),
      static_cast<std::size_t>(std::min(static_cast<std::ptrdiff_t>(size), centre + reach + 1))};
}

std::vector<double> running_median(const std::vector<double>& values, std::ptrdiff_t reach) {
  std::vector<double> result(values.size());
  std::vector<double> window;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const Reach r = around(i, reach, values.size());
    window.assign(values.begin() + static_cast<std::ptrdiff_t>(r.first),
                  values.begin() + static_cast<std::ptrdiff_t>(r.end));
    result[i] = median_reordering(window);
  }
  return result;
}

std::vector<double> running_mean(const std::vector<double>& values, std::ptrdiff_t reach) {
  std::vector<double> sums(values.size() + 1, 0.0);
  for (std::size_t i = 0; i < values.size(); ++i) sums[i + 1] = sums[i] + values[i];
  std::vector<double> result(values.size());
  for (std::size_t i = 0; i < values.size(); ++i) {
    const Reach r = around(i, reach, values.size());
    result[i] = (sums[r.end] - sums[r.first]) / static_cast<double>(r.end - r.first);
  }
  return result;
}

// Mean square of each frame about the mean of its surroundings; a frame's own mean would take part
// of a slow tone away.
std::vector<double> mean_squares(const LevelTrack& track) {
  std::vector<double> means(track.frames.size());
  for (std::size_t i = 0; i < means.size(); ++i) means[i] = track.frames[i].mean;
  const std::vector<double> dc = running_mean(means, dc_reach);
  std::vector<double> result(means.size());
  for (std::size_t i = 0; i < result.size(); ++i) {
    const double about_dc = track.frames[i].mean_square - 2.0 * dc[i] * means[i] + dc[i] * dc[i];
    result[i] = std::max(about_dc, silence);
  }
  return result;
}

double to_db(double mean_square) {
  return 10.0 * std::log10(std::max(mean_square, silence));
}

}  // namespace

LevelTracker::LevelTracker(Hertz rate) {
  track_.rate = rate;
  track_.frame_length = std::max<std::int64_t>(1, std::llround(frame_s * rate.value()));
  frame_.reserve(static_cast<std::size_t>(track_.frame_length));
  stretch_.reserve(static_cast<std::size_t>(track_.frame_length * stretch_frames));
}

void LevelTracker::add(const double* first, std::size_t stride, std::size_t count) {
  for (std::size_t n = 0; n < count; ++n) {
    const double x = first[n * stride];
    frame_.push_back(std::isfinite(x) ? x : 0.0);
    if (static_cast<std::int64_t>(frame_.size()) == track_.frame_length) take_frame();
  }
  track_.samples += static_cast<std::int64_t>(count);
}

void LevelTracker::take_frame() {
  double sum = 0.0;
  double squares = 0.0;
  double lowest = frame_[0];
  double highest = frame_[0];
  for (const double x : frame_) {
    sum += x;
    squares += x * x;
    lowest = std::min(lowest, x);
    highest = std::max(highest, x);
  }
  const auto count = static_cast<double>(frame_.size());
  track_.frames.push_back({static_cast<float>(sum / count), static_cast<float>(squares / count),
                           static_cast<float>(lowest), static_cast<float>(highest)});
  stretch_.insert(stretch_.end(), frame_.begin(), frame_.end());
  frame_.clear();
  if (static_cast<std::int64_t>(stretch_.size()) >= track_.frame_length * stretch_frames)
    take_stretch();
}

void LevelTracker::take_stretch() {
  double energy = 0.0;
  const std::size_t frames = track_.frames.size();
  for (std::size_t i = frames - stretch_frames; i < frames; ++i) {
    energy += static_cast<double>(track_.frames[i].mean_square);
  }
  if (energy > loudest_energy_) {
    loudest_energy_ = energy;
    loudest_.swap(stretch_);
  }
  stretch_.clear();
}

LevelTrack LevelTracker::finish() {
  BlockMeter meter(track_.rate);
  if (loudest_.size() >= meter.shortest_block()) {
    const BlockMeasurement block = meter.measure(loudest_);
    if (block.tone) track_.tone = block.series.fundamental;
  }
  return std::move(track_);
}

std::vector<double> smoothed_level(const LevelTrack& track) {
  std::vector<double> levels = running_mean(mean_squares(track), mean_reach);
  for (double& level : levels) level = to_db(level);
  return running_median(levels, median_reach);
}

std::vector<bool> disturbed_frames(const LevelTrack& track) {
  const std::size_t count = track.frames.size();
  std::vector<double> levels = running_mean(mean_squares(track), 1);
  std::vector<double> peaks(count);
  for (std::size_t i = 0; i < count; ++i) {
    levels[i] = to_db(levels[i]);
    // A slow tone's peak need not fall into every frame.
    const Reach r = around(i, 1, count);
    for (std::size_t k = r.first; k < r.end; ++k) {
      peaks[i] = std::max({peaks[i], static_cast<double>(track.frames[k].highest),
                           -static_cast<double>(track.frames[k].lowest)});
    }
  }
  const std::vector<double> usual_level = running_median(levels, disturbance_reach);
  const std::vector<double> usual_peak = running_median(peaks, disturbance_reach);
  std::vector<bool> result(count);
  for (std::size_t i = 0; i < count; ++i) {
    result[i] = std::abs(levels[i] - usual_level[i]) > disturbed_level_db ||
                peaks[i] > disturbed_peak_ratio * usual_peak[i];
  }
  return result;
}

namespace {

// In frames of 10 ms.
constexpr std::size_t window = 8;
constexpr std::size_t gap = 3;  // an edge is smeared over 50 ms
constexpr std::size_t shortest_plateau = 20;
constexpr std::size_t slice = 25;
constexpr std::size_t settle = 5;  // what a coupling of 5 Hz falls by to a fifth
constexpr std::size_t before_edge = 4;
constexpr std::size_t longest_inner = 200;
constexpr std::size_t shortest_inner = 16;  // three cycles of 20 Hz

constexpr double least_change_db = 0.12;
constexpr double scatters = 3.0;
constexpr double standing_db = 0.1;  // smoothed level of a plateau about its median
constexpr double gliding_db = 0.5;   // from its first to its last fifth
constexpr double softest_re_loudest_db = -80.0;
constexpr double silence_db = -110.0;  // below the noise of any 16-bit capture

struct Spread {
  double mean, deviation;
};
Spread spread(const std::vector<double>& values, std::size_t first, std::size_t end) {
  const auto count = static_cast<double>(end - first);
  double sum = 0.0;
  for (std::size_t i = first; i < end; ++i) sum += values[i];
  const double mean = sum / count;
  double squares = 0.0;
  for (std::size_t i = first; i < end; ++i) squares += (values[i] - mean) * (values[i] - mean);
  return {mean, std::sqrt(squares / count)};
}

double median_of(const std::vector<double>& values, std::size_t first, std::size_t end) {
  return median({values.begin() + static_cast<std::ptrdiff_t>(first),
                 values.begin() + static_cast<std::ptrdiff_t>(end)});
}

// How much the level changes at each frame; 0 where it is within the scatter.
std::vector<double> changes(const std::vector<double>& level) {
  std::vector<double> result(level.size(), 0.0);
  const std::size_t reach = window + gap;
  for (std::size_t i = reach; i + reach <= level.size(); ++i) {
    const Spread before = spread(level, i - reach, i - gap);
    const Spread after = spread(level, i + gap, i + reach);
    const double change = after.mean - before.mean;
    const double scatter = std::hypot(before.deviation, after.deviation);
    if (std::abs(change) > least_change_db + scatters * scatter) result[i] = change;
  }
  return result;
}

// The edge near frame `at`: where the level passes the middle between its two sides.
double edge_near(const std::vector<double>& level, std::size_t at) {
  const std::size_t reach = window + gap;
  const double before = spread(level, at - reach, at - gap).mean;
  const double after = spread(level, at + gap, at + reach).mean;
  const double middle = 0.5 * (before + after);
  for (std::size_t i = at - reach; i + 1 < at + reach; ++i) {
    if ((level[i] < middle) != (level[i + 1] < middle) &&
        (level[i] < middle) == (before < middle)) {
      return static_cast<double>(i) + 0.5 + (middle - level[i]) / (level[i + 1] - level[i]);
    }
  }
  return static_cast<double>(at);
}

// Frames at which the level steps: the middles of the regions where the change is largest.
std::vector<double> edges(const std::vector<double>& level) {
  const std::vector<double> change = changes(level);
  std::vector<double> result;
  for (std::size_t i = 0; i < change.size(); ++i) {
    if (change[i] == 0.0) continue;
    const std::size_t first = i > window ? i - window : 0;
    const std::size_t end = std::min(change.size(), i + window + 1);
    bool largest = true;
    for (std::size_t k = first; k < end; ++k) {
      const double here = std::abs(change[i]);
      const double there = std::abs(change[k]);
      largest = largest && (k < i ? there < here : there <= here);
    }
    if (largest) result.push_back(edge_near(level, i));
  }
  return result;
}

struct Frames {
  std::size_t first, end;
  [[nodiscard]] std::size_t size() const { return end > first ? end - first : 0; }
};

// The longest run without a disturbance, if it is long enough to measure; else all of it.
Frames quiet_part(Frames inner, const std::vector<bool>& disturbed) {
  Frames best{inner.first, inner.first};
  std::size_t start = inner.first;
  for (std::size_t i = inner.first; i <= inner.end; ++i) {
    if (i < inner.end && !disturbed[i]) continue;
    if (i - start > best.size()) best = {start, i};
    start = i + 1;
  }
  if (best.size() < shortest_inner) best = inner;
  if (best.size() > longest_inner) {
    best.first += (best.size() - longest_inner) / 2;
    best.end = best.first + longest_inner;
  }
  return best;
}

struct Context {
  const LevelTrack& track;
  std::vector<double> level;
  std::vector<bool> disturbed;
};

Step make_step(const Context& context, Frames whole, Frames inner) {
  const std::int64_t length = context.track.frame_length;
  const Frames measured = quiet_part(inner, context.disturbed);
  Step step;
  step.first = static_cast<std::int64_t>(whole.first) * length;
  step.end = static_cast<std::int64_t>(whole.end) * length;
  step.inner_first = static_cast<std::int64_t>(measured.first) * length;
  step.inner_end = static_cast<std::int64_t>(measured.end) * length;
  step.level_db = median_of(context.level, inner.first, inner.end);
  return step;
}

void add_slices(const Context& context, Frames whole, double softest, std::vector<Step>& steps) {
  for (std::size_t first = whole.first; first + slice <= whole.end; first += slice) {
    const Frames part{first, first + slice};
    if (median_of(context.level, part.first, part.end) < softest) continue;
    steps.push_back(make_step(context, part, part));
    steps.back().gliding = true;
    steps.back().rise_db = slope_of(std::span(context.level).subspan(part.first, part.size())) *
                           static_cast<double>(part.size());
  }
}

bool glides(const std::vector<double>& level, Frames whole) {
  const std::size_t fifth = whole.size() / 5;
  const double start = median_of(level, whole.first, whole.first + fifth);
  const double end = median_of(level, whole.end - fifth, whole.end);
  return whole.size() > 2 * slice && std::abs(end - start) > gliding_db;
}

// Frames at the ends that are still on their way are taken off.
Frames standing(const std::vector<double>& level, Frames whole) {
  const double middle = median_of(level, whole.first, whole.end);
  std::vector<double> off;
  for (std::size_t i = whole.first; i < whole.end; ++i) off.push_back(std::abs(level[i] - middle));
  const double tolerance = std::max(standing_db, 4.0 * median(off));
  while (whole.size() > 0 && std::abs(level[whole.first] - middle) > tolerance) ++whole.first;
  while (whole.size() > 0 && std::abs(level[whole.end - 1] - middle) > tolerance) --whole.end;
  return whole;
}

void add_plateau(const Context& context, Frames between, double softest, std::vector<Step>& steps) {
  if (between.size() < shortest_plateau) return;
  if (median_of(context.level, between.first, between.end) < softest) return;
  if (glides(context.level, between)) return add_slices(context, between, softest, steps);
  const Frames whole = standing(context.level, between);
  if (whole.size() < shortest_plateau) return;
  const Frames inner{whole.first + std::min(settle, whole.size() / 10),
                     whole.end - std::min(before_edge, whole.size() / 10)};
  steps.push_back(make_step(context, whole, inner));
}

// A control turned by hand gets from one plateau to the next in less.
void add_moving(const Context& context, Frames between, double softest, std::vector<Step>& steps) {
  if (between.size() >= 2 * slice) add_slices(context, between, softest, steps);
}

double softest_level(const std::vector<double>& level) {
  const double loudest = *std::max_element(level.begin(), level.end());
  return std::max(silence_db, loudest + softest_re_loudest_db);
}

// What is left of a step between its edges, samples.
struct Inside {
  double first, end;
};
Inside inside_of(const StepPlace& place, double rate) {
  constexpr double long_step_s = 0.33;  // from here on as of the steps of a grid
  const double length = (place.end - place.first) / rate;
  const bool is_long = length >= long_step_s;
  const double lead =
      is_long ? std::clamp(0.15 * length, 0.05, 0.25) : std::clamp(0.2 * length, 0.015, 0.05);
  const double tail = is_long ? 0.03 : std::clamp(0.125 * length, 0.01, 0.03);
  return {place.first + lead * rate, place.end - tail * rate};
}

// In whole frames, where clicks can be left out; else to the sample.
void set_inner(const Context& context, const Inside& inside, Step& step) {
  constexpr std::size_t least_for_clicks = 20;
  const auto length = static_cast<double>(context.track.frame_length);
  const auto limit = static_cast<double>(context.disturbed.size());
  const Frames inner{
      static_cast<std::size_t>(std::clamp(std::ceil(inside.first / length), 0.0, limit)),
      static_cast<std::size_t>(std::clamp(std::floor(inside.end / length), 0.0, limit))};
  step.inner_first = std::llround(inside.first);
  step.inner_end = std::llround(inside.end);
  if (inner.size() < least_for_clicks) return;
  const Frames measured = quiet_part(inner, context.disturbed);
  step.inner_first = static_cast<std::int64_t>(measured.first) * context.track.frame_length;
  step.inner_end = static_cast<std::int64_t>(measured.end) * context.track.frame_length;
}

}  // namespace

double slope_of(std::span<const double> level) {
  const double middle = 0.5 * (static_cast<double>(level.size()) - 1.0);
  double cross = 0.0;
  double square = 0.0;
  for (std::size_t i = 0; i < level.size(); ++i) {
    const double x = static_cast<double>(i) - middle;
    cross += x * level[i];
    square += x * x;
  }
  return square > 0.0 ? cross / square : 0.0;
}

std::vector<Step> find_plateaus(const LevelTrack& track) {
  if (track.frames.size() < shortest_plateau) return {};
  const Context context{track, smoothed_level(track), disturbed_frames(track)};
  const double softest = softest_level(context.level);
  std::vector<Step> steps;
  // Pieces between edges; short ones in a row are a level on the move.
  std::vector<double> ends = edges(context.level);
  ends.push_back(static_cast<double>(context.level.size()));
  std::size_t start = 0;
  std::size_t moving = 0;  // start of the short pieces before this one
  for (const double edge : ends) {
    const auto end = static_cast<std::size_t>(std::lround(edge));
    if (end - start >= shortest_plateau) {
      add_moving(context, {moving, start}, softest, steps);
      add_plateau(context, {start, end}, softest, steps);
      moving = end;
    }
    start = end;
  }
  add_moving(context, {moving, start}, softest, steps);
  for (std::size_t i = 0; i < steps.size(); ++i) steps[i].index = static_cast<int>(i);
  return steps;
}

std::vector<Step> cut_evenly(const LevelTrack& track, const Grid& grid, Disturbances disturbances) {
  Context context{track, smoothed_level(track), disturbed_frames(track)};
  if (disturbances == Disturbances::measured)
    context.disturbed.assign(context.disturbed.size(), false);
  const auto length = static_cast<double>(track.frame_length);
  const double lead =
      std::clamp(0.15 * grid.dwell, 0.05 * track.rate.value(), 0.25 * track.rate.value());
  const double tail = 0.03 * track.rate.value();
  std::vector<Step> steps;
  for (int k = 0; k < grid.steps; ++k) {
    const double start = grid.first + grid.dwell * k;
    const double end = start + grid.dwell;
    const auto frame = [&](double sample) {
      const double limit = static_cast<double>(context.level.size());
      return static_cast<std::size_t>(std::clamp(std::ceil(sample / length), 0.0, limit));
    };
    const Frames inner{frame(start + lead), frame(end - tail)};
    const bool inside = start + lead >= 0.0 && end - tail <= static_cast<double>(track.samples);
    if (!inside || inner.size() < shortest_inner) continue;
    steps.push_back(make_step(context, {frame(start), frame(end)}, inner));
    steps.back().index = k;
    steps.back().first = std::llround(start);
    steps.back().end = std::min(std::llround(end), static_cast<long long>(track.samples));
  }
  return steps;
}

std::vector<Step> cut_at(const LevelTrack& track, const std::vector<StepPlace>& places) {
  const Context context{track, {}, disturbed_frames(track)};
  std::vector<Step> steps;
  for (const StepPlace& place : places) {
    Inside inside = inside_of(place, track.rate.value());
    inside.first = std::max(inside.first, 0.0);
    inside.end = std::min(inside.end, static_cast<double>(track.samples));
    if (inside.end <= inside.first) continue;
    Step step;
    step.index = place.index;
    step.first = std::max<std::int64_t>(0, std::llround(place.first));
    step.end = std::min<std::int64_t>(track.samples, std::llround(place.end));
    set_inner(context, inside, step);
    step.level_db = place.level_db;
    steps.push_back(step);
  }
  return steps;
}

}  // namespace railtap::measure
