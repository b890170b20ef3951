// SPDX-License-Identifier: MIT
// Exact phase at the start of a chunk, the addition theorem within it.
#include "signal/oscillator.hpp"

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

}  // namespace railtap::signal
