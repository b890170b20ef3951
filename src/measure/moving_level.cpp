// SPDX-License-Identifier: MIT
// A tone that goes on while its level moves.
#include "measure/moving_level.hpp"

#include <algorithm>
#include <cmath>

namespace railtap::measure {
namespace {

// From one frame of 0.1 s to the next. A steady tone's frames differ by less, but for the lowest
// ones, whose ripple of 0.05 dB does not add up to `least_range_db`.
constexpr double moving_db = 0.02;
constexpr double least_range_db = 0.1;
constexpr int least_frames = 5;
constexpr double same_frequency = 0.02;
constexpr double hysteresis = 0.2;
// A turn counts when the level has come back by this much.
constexpr double turn_db = 0.1;

}  // namespace

std::optional<Hertz> frequency_by_crossings(std::span<const double> samples, double peak,
                                            Hertz rate) {
  bool armed = false;
  double first = 0.0;
  double last = 0.0;
  int crossings = 0;
  for (std::size_t n = 1; n < samples.size(); ++n) {
    if (samples[n] < -hysteresis * peak) armed = true;
    if (!armed || samples[n - 1] >= 0.0 || samples[n] < 0.0) continue;
    armed = false;
    last = static_cast<double>(n) - samples[n] / (samples[n] - samples[n - 1]);
    if (crossings++ == 0) first = last;
  }
  if (crossings < 2) return std::nullopt;
  return rate * ((crossings - 1) / (last - first));
}

void MovingLevelMeter::add(std::span<const double> frame, double level_db, bool tonal,
                           double peak) {
  const std::int64_t first = position_;
  position_ += static_cast<std::int64_t>(frame.size());
  const std::optional<double> before = last_db_;
  last_db_ = tonal ? std::optional(level_db) : std::nullopt;
  const double moved = before && tonal ? level_db - *before : 0.0;
  // One still frame may be a turn.
  const bool still = std::abs(moved) < moving_db;
  still_ = still ? still_ + 1 : 0;
  if (!tonal || still_ > 1 || (still && open_.frames == 0)) {
    end_stretch();
    return;
  }
  const auto hz = frequency_by_crossings(frame, peak, rate_);
  const bool same = hz && last_hz_ && std::abs(hz->value() / *last_hz_ - 1.0) < same_frequency;
  if (!same) end_stretch();
  last_hz_ = hz ? std::optional(hz->value()) : std::nullopt;
  if (!hz) return;
  if (open_.frames == 0) {
    open_.first_frame = first;
    open_.lowest_db = open_.highest_db = level_db;
  }
  ++open_.frames;
  open_.samples += static_cast<std::int64_t>(frame.size());
  open_.hz_sum += hz->value();
  open_.lowest_db = std::min(open_.lowest_db, level_db);
  open_.highest_db = std::max(open_.highest_db, level_db);
  (moved > 0.0 ? open_.up_db : open_.down_db) += std::abs(moved);
  const bool turned = moved * open_.since_turn_db < 0.0;
  if (turned && std::abs(moved) > turn_db) ++open_.turns;
  open_.since_turn_db = turned ? moved : open_.since_turn_db + moved;
}

void MovingLevelMeter::end_stretch() {
  const Stretch s = open_;
  open_ = {};
  last_hz_.reset();
  if (s.frames < least_frames || s.highest_db - s.lowest_db < least_range_db) return;
  const bool first = result_.frames == 0;
  if (first) result_.first_frame = s.first_frame;
  result_.lowest_db = first ? s.lowest_db : std::min(result_.lowest_db, s.lowest_db);
  result_.highest_db = first ? s.highest_db : std::max(result_.highest_db, s.highest_db);
  result_.frames += s.samples;
  result_.end_frame = s.first_frame + s.samples;
  result_.up_db += s.up_db;
  result_.down_db += s.down_db;
  result_.turns += s.turns;
  result_.frequency = Hertz(s.hz_sum / s.frames);
}

MovingLevel MovingLevelMeter::finish() {
  end_stretch();
  return result_;
}

}  // namespace railtap::measure
