// SPDX-License-Identifier: MIT
// Third-octave frequencies as they are rounded and numbered.
#include "signal/third_octaves.hpp"

#include <array>
#include <cmath>

namespace railtap::signal {
namespace {

constexpr std::array<double, 10> rounded{1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0};

Hertz band(int number) {
  const int decade = number / 10;
  return Hertz(rounded[static_cast<std::size_t>(number % 10)] * std::pow(10.0, decade));
}

bool same(Hertz a, Hertz b) {
  constexpr double close = 1e-9;
  return std::abs(a / b - 1.0) < close;
}

}  // namespace

std::vector<Hertz> third_octaves(int first, int count) {
  std::vector<Hertz> bands;
  if (first < 0 || first + count - 1 > highest_third_octave) return bands;
  for (int k = 0; k < count; ++k) bands.push_back(band(first + k));
  return bands;
}

std::optional<int> first_third_octave(std::span<const Hertz> frequencies) {
  if (frequencies.empty() || frequencies.front() < Hertz(1.0)) return std::nullopt;
  const int first = static_cast<int>(std::lround(10.0 * std::log10(frequencies.front().value())));
  const auto bands = third_octaves(first, static_cast<int>(frequencies.size()));
  if (bands.empty()) return std::nullopt;
  for (std::size_t k = 0; k < bands.size(); ++k) {
    if (!same(bands[k], frequencies[k])) return std::nullopt;
  }
  return first;
}

}  // namespace railtap::signal
