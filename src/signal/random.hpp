// SPDX-License-Identifier: MIT
// Random numbers that are the same on every machine.
#pragma once

#include <cstdint>

namespace railtap::signal {

/// SplitMix64 [Steele, Lea, Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014]:
/// a counter and a mixing function, so any place in the sequence can be reached at once.
class Random {
 public:
  explicit constexpr Random(std::uint64_t seed) : state_(seed) {}

  constexpr std::uint64_t next() {
    state_ += 0x9E3779B97F4A7C15ULL;
    std::uint64_t z = state_;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    return z ^ (z >> 31);
  }

  /// Uniform, 0 <= value < 1.
  constexpr double uniform() { return static_cast<double>(next() >> 11) * 0x1p-53; }

 private:
  std::uint64_t state_;
};

}  // namespace railtap::signal
