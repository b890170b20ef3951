// SPDX-License-Identifier: MIT
// Renders a track block by block, at constant memory.
#include "signal/generator.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace railtap::signal {
namespace {

constexpr double turn = 2.0 * std::numbers::pi;

}  // namespace

Oscillator::Oscillator(Hertz frequency, Hertz rate)
    : frequency_(frequency.value()), rate_(rate.value()) {
  for (std::size_t n = 0; n < chunk; ++n) {
    const double cycles = cycles_at(static_cast<std::int64_t>(n));
    sine_[n] = std::sin(turn * cycles);
    cosine_[n] = std::cos(turn * cycles);
  }
}

double Oscillator::cycles_at(std::int64_t n) const {
  const auto count = static_cast<double>(n);
  const double product = frequency_ * count;
  const double rounding = std::fma(frequency_, count, -product);
  return (std::fmod(product, rate_) + rounding) / rate_;
}

void Oscillator::render(std::int64_t first, std::span<double> out, double phase_cycles) const {
  const auto length = static_cast<std::int64_t>(chunk);
  while (!out.empty()) {
    const std::int64_t start = first / length * length;
    const auto skip = static_cast<std::size_t>(first - start);
    const std::size_t count = std::min(out.size(), chunk - skip);
    const double angle = turn * (cycles_at(start) + phase_cycles);
    const double s = std::sin(angle), c = std::cos(angle);
    for (std::size_t i = 0; i < count; ++i) {
      out[i] = s * cosine_[skip + i] + c * sine_[skip + i];
    }
    out = out.subspan(count);
    first += static_cast<std::int64_t>(count);
  }
}

Generator::Generator(const Track& track, Hertz rate, double highest_peak) {
  for (const Part& part : track.parts) {
    if (part.marker != MarkerBand::none)
      parts_.push_back(marker_voices(part.signal, part.marker, rate));
    parts_.push_back(voices_of(part.signal, part.channels, rate, highest_peak));
  }
  for (const Voices& part : parts_) frames_ += part.frames;
}

std::size_t Generator::render(std::span<double> interleaved) {
  std::size_t done = 0;
  const std::size_t wanted = interleaved.size() / 2;
  while (done < wanted && part_ < parts_.size()) {
    const Voices& part = parts_[part_];
    const auto left = static_cast<std::size_t>(part.frames - position_);
    const std::size_t count = std::min(wanted - done, left);
    render_part(part, position_, interleaved.subspan(2 * done, 2 * count));
    done += count;
    position_ += static_cast<std::int64_t>(count);
    if (position_ < part.frames) continue;
    ++part_;
    position_ = 0;
  }
  return done;
}

void Generator::render_part(const Voices& part, std::int64_t first, std::span<double> interleaved) {
  const std::size_t count = interleaved.size() / 2;
  left_.assign(count, 0.0);
  right_.assign(part.same ? 0 : count, 0.0);
  if (part.left) part.left(first, left_);
  if (part.right && !part.same) part.right(first, right_);
  const std::vector<double>& right = part.same ? left_ : right_;
  for (std::size_t i = 0; i < count; ++i) {
    interleaved[2 * i] = left_[i];
    interleaved[2 * i + 1] = right[i];
  }
}

}  // namespace railtap::signal
