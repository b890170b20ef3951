// SPDX-License-Identifier: MIT
// Losses by count, by report and by the clock.
#include "audio/continuity.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace railtap::audio {
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
