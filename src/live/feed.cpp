// SPDX-License-Identifier: MIT
// The reading thread.
#include "live/feed.hpp"

#include <algorithm>
#include <chrono>
#include <condition_variable>
#include <deque>
#include <exception>
#include <mutex>
#include <thread>

namespace railtap::live {
namespace {

constexpr double block_s = 0.01;

}  // namespace

// Shared by both threads; the lock holds only while samples are moved.
struct Feed::State {
  audio::Source source;
  std::function<std::int64_t()> count_losses;
  std::size_t channels = 1;
  std::size_t most = 0;  // samples that are read ahead
  mutable std::mutex lock;
  std::condition_variable changed;
  std::deque<double> samples;
  bool done = false;     // the source has no more
  bool stopped = false;  // nobody wants more
  std::exception_ptr failure;
  std::int64_t losses = 0;

  void read_all();
  bool hand_over(std::span<const double> block);
};

bool Feed::State::hand_over(std::span<const double> block) {
  const std::int64_t lost = count_losses ? count_losses() : 0;
  std::unique_lock guard(lock);
  changed.wait(guard, [this] { return stopped || samples.size() < most; });
  samples.insert(samples.end(), block.begin(), block.end());
  losses = lost;
  changed.notify_all();
  return !stopped;
}

void Feed::State::read_all() {
  try {
    const double rate = source.format.rate.value();
    std::vector<double> block(std::max<std::size_t>(1, static_cast<std::size_t>(block_s * rate)) *
                              channels);
    for (;;) {
      const std::size_t frames = source.read(block);
      const bool wanted = hand_over(std::span(block).first(frames * channels));
      if (frames == 0 || !wanted) break;
    }
  } catch (...) {
    const std::lock_guard guard(lock);
    failure = std::current_exception();
  }
  const std::lock_guard guard(lock);
  done = true;
  changed.notify_all();
}

Feed::Feed(audio::Source source, std::function<std::int64_t()> losses, Seconds ahead)
    : state_(std::make_shared<State>()) {
  state_->channels = static_cast<std::size_t>(source.format.channels);
  state_->most =
      static_cast<std::size_t>(ahead.value() * source.format.rate.value()) * state_->channels;
  state_->source = std::move(source);
  state_->count_losses = std::move(losses);
  std::thread([state = state_] { state->read_all(); }).detach();
}

Feed::~Feed() {
  constexpr std::chrono::milliseconds patience{500};
  std::unique_lock guard(state_->lock);
  state_->stopped = true;
  state_->changed.notify_all();
  state_->changed.wait_for(guard, patience, [this] { return state_->done; });
}

const audio::StreamFormat& Feed::format() const {
  return state_->source.format;
}

std::vector<double> Feed::take(std::size_t most, Seconds wait) {
  std::unique_lock guard(state_->lock);
  const std::chrono::duration<double> patience(wait.value());
  state_->changed.wait_for(guard, patience,
                           [this] { return state_->done || !state_->samples.empty(); });
  const std::size_t count = std::min(most * state_->channels, state_->samples.size());
  const auto end = state_->samples.begin() + static_cast<std::ptrdiff_t>(count);
  std::vector<double> taken(state_->samples.begin(), end);
  state_->samples.erase(state_->samples.begin(), end);
  state_->changed.notify_all();
  if (taken.empty() && state_->failure) std::rethrow_exception(state_->failure);
  return taken;
}

bool Feed::ended() const {
  const std::lock_guard guard(state_->lock);
  return state_->done && state_->samples.empty();
}

std::int64_t Feed::losses() const {
  const std::lock_guard guard(state_->lock);
  return state_->losses;
}

}  // namespace railtap::live
