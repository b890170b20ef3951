// SPDX-License-Identifier: MIT
// What breaks a steady tone off, and lets it go on as before.
#include "measure/interruption.hpp"

#include <algorithm>
#include <cmath>

#include "measure/moving_level.hpp"

namespace railtap::measure {
namespace {

constexpr double quiet_share = 0.02;  // as longest_quiet has it
constexpr double least_s = 0.0006;
constexpr double longest_s = 0.5;
constexpr double same_frequency = 1e-3;
constexpr double same_level_db = 0.05;
constexpr double same_peak = 0.02;
// Frames that a step, or a gap, leaves without a block: less than three between two gaps, and one
// on either side.
constexpr double frames_s = 0.4;
constexpr double opening_s = 1.0;
constexpr double heard_share = 0.5;
constexpr double returned_share = 0.02;
constexpr double higher = 1.02;   // a click stands above the tone
constexpr double lower_db = 0.5;  // missing samples hardly move the level
constexpr std::size_t most_gaps = 1000;

}  // namespace

// Before anything is steady, the loudest so far is taken for the tone; what is found by it counts
// only if the tone turns out to have that peak.
void InterruptionFinder::open(double half_range) {
  if (static_cast<double>(position_) > opening_s * rate_.value()) {
    tone_peak_ = 0.0;
    return;
  }
  if (half_range <= higher * tone_peak_) return;
  tone_peak_ = half_range;
  heard_ = false;
  quiet_length_ = 0;
  gaps_.clear();
}

void InterruptionFinder::scan(std::span<const double> frame, std::int64_t first) {
  const auto least = static_cast<std::int64_t>(least_s * rate_.value());
  const auto longest = static_cast<std::int64_t>(longest_s * rate_.value());
  std::size_t returned = 0;
  for (std::size_t n = 0; n < frame.size(); ++n) {
    if (std::abs(frame[n]) < quiet_share * tone_peak_) {
      if (quiet_length_ == 0) quiet_first_ = first + static_cast<std::int64_t>(n);
      ++quiet_length_;
      continue;
    }
    if (quiet_length_ >= least && quiet_length_ <= longest && heard_ && gaps_.size() < most_gaps) {
      gaps_.push_back({DisturbanceKind::gap, quiet_first_, quiet_length_});
      peak_before_gap_ = tone_peak_;
      returned = n;
    }
    quiet_length_ = 0;
    heard_ = heard_ || std::abs(frame[n]) > heard_share * tone_peak_;
  }
  if (quiet_length_ > longest) tone_peak_ = 0.0;
  if (!gaps_.empty()) note_return(frame.subspan(returned));
}

// What a whole cycle or more behind the last gap holds.
void InterruptionFinder::note_return(std::span<const double> samples) {
  if (!last_ || static_cast<double>(samples.size()) * (last_->frequency / rate_) < 1.0) return;
  const auto [low, high] = std::minmax_element(samples.begin(), samples.end());
  returned_peak_ = 0.5 * (*high - *low);
  returned_hz_ = frequency_by_crossings(samples, returned_peak_, rate_);
}

void InterruptionFinder::add(std::span<const double> frame, double level_db, double half_range,
                             bool steady, bool usable) {
  const std::int64_t first = position_;
  position_ += static_cast<std::int64_t>(frame.size());
  if (steady) {
    anything_steady_ = true;
    // In silence that is as steady, the tone is still the one before.
    if (quiet_length_ == 0) {
      tone_peak_ = half_range;
      heard_ = true;
      quiet_tail_ = 0;
      const double quiet = quiet_share * tone_peak_;
      for (std::size_t n = frame.size(); n > 0 && std::abs(frame[n - 1]) < quiet; --n)
        ++quiet_tail_;
      if (!gaps_.empty()) note_return(frame);
      return;
    }
  } else {
    highest_since_ = std::max(highest_since_, half_range);
    lowest_since_db_ = std::min(lowest_since_db_, level_db);
    if (!anything_steady_ && usable) open(half_range);
    quiet_length_ = std::max(quiet_length_, quiet_tail_);
    if (quiet_tail_ > 0) quiet_first_ = first - quiet_tail_;
    quiet_tail_ = 0;
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
  const std::int64_t apart = tone.first_frame - before->end_frame;
  std::erase_if(found, [&](const Disturbance& d) { return d.first_frame < before->first_frame; });
  double most_s = longest_s + frames_s;
  for (const Disturbance& gap : found)
    most_s += frames_s + static_cast<double>(gap.frames) / rate_.value();
  const bool same = std::abs(tone.frequency / before->frequency - 1.0) < same_frequency &&
                    std::abs(tone.level_db - before->level_db) < same_level_db &&
                    static_cast<double>(apart) <= most_s * rate_.value();
  if (!same) return {};
  // Segments that only differ in character lie over one another: nothing is between them.
  if (!found.empty() || apart <= 0) return found;
  auto kind = DisturbanceKind::jump;
  if (lowest_db < tone.level_db - lower_db) kind = DisturbanceKind::gap;
  if (highest > higher * before->peak) kind = DisturbanceKind::click;
  return {{kind, before->end_frame, apart}};
}

std::vector<Disturbance> InterruptionFinder::at_the_end() const {
  if (!last_ || gaps_.empty() || gaps_.front().first_frame < last_->first_frame) return {};
  const bool same =
      std::abs(returned_peak_ / last_->peak - 1.0) < same_peak &&
      (!returned_hz_ || std::abs(*returned_hz_ / last_->frequency - 1.0) < returned_share);
  return same ? gaps_ : std::vector<Disturbance>{};
}

}  // namespace railtap::measure
