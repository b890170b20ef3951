// SPDX-License-Identifier: MIT
// The callback's work, and the reader's.
#include "audio/intake.hpp"

namespace railtap::audio {
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

}  // namespace railtap::audio
