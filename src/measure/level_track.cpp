// SPDX-License-Identifier: MIT
// How the level of a recording goes over time.
#include "measure/level_track.hpp"

#include <algorithm>
#include <cmath>

#include "measure/median.hpp"

namespace railtap::measure {
namespace {

constexpr double frame_s = 0.01;  // half a cycle of 50 Hz
constexpr std::ptrdiff_t mean_reach = 2;
constexpr std::ptrdiff_t median_reach = 5;
constexpr double silence = 1e-14;  // mean square: −140 dB
constexpr std::ptrdiff_t dc_reach =
    25;  // 0.5 s: whole cycles or many of any tone, and it follows a coupling's drift
constexpr std::ptrdiff_t disturbance_reach = 10;
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
  frame_.clear();
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

}  // namespace railtap::measure
