// SPDX-License-Identifier: MIT
// A track played once on a sound output.
#include "live/playback.hpp"

#include <algorithm>
#include <array>

#include "signal/generator.hpp"

namespace railtap::live {
namespace {

// Its delay does not matter, and a busy computer must not interrupt it.
constexpr Seconds in_hand{1.0};

std::vector<float> rendered(const signal::Track& track, Hertz rate) {
  signal::Generator generator(track, rate, signal::highest_float_peak);
  std::vector<float> samples(static_cast<std::size_t>(Playback::lead.value() * rate.value()), 0.0F);
  samples.reserve(samples.size() + static_cast<std::size_t>(generator.frames()));
  std::array<double, 4096> stereo{};
  while (const std::size_t frames = generator.render(stereo)) {
    for (std::size_t i = 0; i < frames; ++i) samples.push_back(static_cast<float>(stereo[2 * i]));
  }
  return samples;
}

}  // namespace

Playback::Playback(const signal::Track& track, const std::string& device, Hertz rate)
    : rate_(rate),
      samples_(rendered(track, rate)),
      output_({device, "", rate, in_hand}, {&Playback::render, this}) {}

Seconds Playback::length() const {
  return Seconds(static_cast<double>(samples_.size()) / rate_.value());
}

// Runs in the driver's thread, against a deadline.
void Playback::render(void* self, std::span<float> samples) noexcept {
  auto& playback = *static_cast<Playback*>(self);
  const auto left = std::span(playback.samples_).subspan(playback.position_);
  const std::size_t now = std::min(left.size(), samples.size());
  std::copy_n(left.begin(), now, samples.begin());
  std::fill(samples.begin() + static_cast<std::ptrdiff_t>(now), samples.end(), 0.0F);
  playback.position_ += now;
}

}  // namespace railtap::live
