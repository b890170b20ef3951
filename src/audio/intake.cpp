// SPDX-License-Identifier: MIT
// What a device's stream goes through: a ring where a driver's callback leaves its samples, every
// loss counted, and the check whether the stream is whole, by what the driver reports, what was
// counted, and what the clock shows.
#include "audio/intake.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace railtap::audio {

// The callback's work, and the reader's.

namespace {

// Drivers call every millisecond or less often; were they to call more often, the ring of arrivals
// would be the one to overflow, which is counted just the same.
constexpr std::size_t shortest_call_frames = 32;

std::size_t calls_for(std::size_t frames) {
  return frames / shortest_call_frames + 1;
}

}  // namespace

Intake::Intake(int channels, std::size_t frames)
    : channels_(channels),
      codes_(frames * static_cast<std::size_t>(channels)),
      arrivals_(calls_for(frames)) {}

void Intake::take(std::span<const std::int32_t> codes, double time_s, bool overflow) noexcept {
  const auto frames = static_cast<std::int64_t>(codes.size()) / channels_;
  pending_overflow_ = pending_overflow_ || overflow;
  // Half a block would leave a hole inside it that no one could place.
  if (codes_.writable() < codes.size() || arrivals_.writable() == 0) {
    pending_lost_ += frames;
    return;
  }
  codes_.push(codes);
  const Arrival arrival{frames, pending_lost_, time_s, pending_overflow_};
  arrivals_.push({&arrival, 1});
  pending_lost_ = 0;
  pending_overflow_ = false;
}

std::size_t Intake::readable_frames() const {
  return codes_.readable() / static_cast<std::size_t>(channels_);
}

std::size_t Intake::read(std::span<std::int32_t> codes) {
  const auto channels = static_cast<std::size_t>(channels_);
  const std::size_t frames = std::min(codes.size() / channels, readable_frames());
  return codes_.pop(codes.first(frames * channels)) / channels;
}

std::optional<Arrival> Intake::next_arrival() {
  Arrival arrival;
  if (arrivals_.pop({&arrival, 1}) == 0) return std::nullopt;
  return arrival;
}

// Losses by count, by report and by the clock.

namespace {

constexpr double window_s = 1.0;
// After a stall, the stream has caught up within this time, or samples are missing.
constexpr double shortest_window_s = 0.5;
// What was caught up is what had been missing but for the clock's jitter.
constexpr double share_caught_up = 0.8;

}  // namespace

Continuity::Continuity(Hertz rate) : rate_(rate.value()) {}

void Continuity::add(const Arrival& arrival) {
  if (!start_s_) start_s_ = arrival.time_s;
  if (arrival.lost > 0) gaps_.push_back({kept_, arrival.lost, LossCause::buffer});
  if (arrival.overflow) {
    ++overflows_;
    gaps_.push_back({kept_, std::nullopt, LossCause::driver});
  }
  kept_ += arrival.frames;
  offered_ += arrival.frames + arrival.lost;
  if (lowest_ && arrival.time_s >= window_end_s_) close_window();
  const double lateness = arrival.time_s - *start_s_ - static_cast<double>(offered_) / rate_;
  if (!lowest_) window_end_s_ = arrival.time_s + window_s;
  lowest_ = std::min(lowest_.value_or(lateness), lateness);
  if (!before_ || lateness < *before_ + least_gap.value() / 2.0) last_prompt_ = kept_;
}

void Continuity::finish(std::int64_t lost_at_end) {
  if (lowest_ && start_s_) {
    const double now_s = *start_s_ + static_cast<double>(offered_) / rate_ + *lowest_;
    if (now_s >= window_end_s_ - window_s + shortest_window_s) close_window();
  }
  if (lost_at_end > 0) gaps_.push_back({kept_, lost_at_end, LossCause::buffer});
}

void Continuity::close_window() {
  if (before_) {
    const double rise = *lowest_ - *before_;
    if (rise >= least_gap.value()) {
      shortfall(rise);
      *lowest_ -= rise;
    } else if (rise <= -least_gap.value()) {
      take_back(-rise);
    }
  }
  before_ = lowest_;
  lowest_.reset();
}

void Continuity::shortfall(double seconds) {
  const auto frames = static_cast<std::int64_t>(std::llround(seconds * rate_));
  offered_ += frames;
  // The driver may have said where.
  const auto reported = std::find_if(gaps_.begin(), gaps_.end(), [this](const Gap& gap) {
    return gap.cause == LossCause::driver && !gap.lost && gap.at_frame >= last_prompt_;
  });
  // What a stall cost may show in two windows, where its end lies between them.
  const bool goes_on = !gaps_.empty() && gaps_.back().cause == LossCause::clock &&
                       gaps_.back().at_frame == last_prompt_;
  if (reported != gaps_.end()) {
    reported->lost = frames;
  } else if (goes_on) {
    *gaps_.back().lost += frames;
  } else {
    gaps_.push_back({last_prompt_, frames, LossCause::clock});
  }
}

void Continuity::take_back(double seconds) {
  const auto caught_up = [this, seconds](const Gap& gap) {
    return gap.cause != LossCause::buffer && gap.lost &&
           seconds * rate_ >= share_caught_up * static_cast<double>(*gap.lost);
  };
  const auto last = std::find_if(gaps_.rbegin(), gaps_.rend(), caught_up);
  if (last == gaps_.rend()) return;  // the first window was late, as when a stream starts
  offered_ -= *last->lost;
  *lowest_ += static_cast<double>(*last->lost) / rate_;
  if (last->cause == LossCause::driver) {
    last->lost.reset();
  } else {
    gaps_.erase(std::next(last).base());
  }
}

std::int64_t Continuity::lost() const {
  return std::accumulate(
      gaps_.begin(), gaps_.end(), std::int64_t{0},
      [](std::int64_t sum, const Gap& gap) { return sum + gap.lost.value_or(0); });
}

}  // namespace railtap::audio
