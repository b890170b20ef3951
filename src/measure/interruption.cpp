// SPDX-License-Identifier: MIT
// What breaks a steady tone off, and lets it go on as before.
#include "measure/interruption.hpp"

#include <algorithm>
#include <cmath>

namespace railtap::measure {
namespace {

constexpr double quiet_share = 0.02;  // as longest_quiet has it
constexpr double least_s = 0.0006;
constexpr double longest_s = 0.5;
constexpr double same_frequency = 1e-3;
constexpr double same_level_db = 0.05;
constexpr double same_peak = 0.02;
constexpr double furthest_s = 0.9;  // the longest gap, and the frames on either side of it
constexpr double higher = 1.02;     // a click stands above the tone
constexpr double lower_db = 0.5;    // missing samples hardly move the level
constexpr std::size_t most_gaps = 1000;

}  // namespace

void InterruptionFinder::scan(std::span<const double> frame, std::int64_t first) {
  const auto least = static_cast<std::int64_t>(least_s * rate_.value());
  const auto longest = static_cast<std::int64_t>(longest_s * rate_.value());
  for (std::size_t n = 0; n < frame.size(); ++n) {
    if (std::abs(frame[n]) < quiet_share * tone_peak_) {
      if (quiet_length_ == 0) quiet_first_ = first + static_cast<std::int64_t>(n);
      ++quiet_length_;
      continue;
    }
    if (quiet_length_ >= least && quiet_length_ <= longest && gaps_.size() < most_gaps) {
      gaps_.push_back({DisturbanceKind::gap, quiet_first_, quiet_length_});
      peak_before_gap_ = tone_peak_;
    }
    quiet_length_ = 0;
  }
  if (quiet_length_ > longest) tone_peak_ = 0.0;
}

void InterruptionFinder::add(std::span<const double> frame, double level_db, double half_range,
                             bool steady, bool usable) {
  const std::int64_t first = position_;
  position_ += static_cast<std::int64_t>(frame.size());
  if (steady) {
    // In silence that is as steady, the tone is still the one before.
    if (quiet_length_ == 0) {
      tone_peak_ = half_range;
      return;
    }
  } else {
    highest_since_ = std::max(highest_since_, half_range);
    lowest_since_db_ = std::min(lowest_since_db_, level_db);
  }
  if (usable && tone_peak_ > 0.0) scan(frame, first);
  if (!usable) quiet_length_ = 0;
}

std::vector<Disturbance> InterruptionFinder::between(const SteadyTone& tone) {
  std::vector<Disturbance> found = std::move(gaps_);
  gaps_.clear();
  const double highest = highest_since_;
  const double lowest_db = lowest_since_db_;
  highest_since_ = 0.0;
  lowest_since_db_ = 0.0;
  const std::optional<SteadyTone> before = last_;
  last_ = tone;
  if (!before) {
    if (std::abs(peak_before_gap_ / tone.peak - 1.0) < same_peak) return found;
    return {};
  }
  const double apart = static_cast<double>(tone.first_frame - before->end_frame) / rate_.value();
  const bool same = std::abs(tone.frequency / before->frequency - 1.0) < same_frequency &&
                    std::abs(tone.level_db - before->level_db) < same_level_db &&
                    apart <= furthest_s;
  if (!same) return {};
  std::erase_if(found, [&](const Disturbance& d) { return d.first_frame < before->first_frame; });
  if (!found.empty()) return found;
  auto kind = DisturbanceKind::jump;
  if (lowest_db < tone.level_db - lower_db) kind = DisturbanceKind::gap;
  if (highest > higher * before->peak) kind = DisturbanceKind::click;
  return {{kind, before->end_frame, tone.first_frame - before->end_frame}};
}

}  // namespace railtap::measure
