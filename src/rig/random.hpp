// SPDX-License-Identifier: MIT
// Noise that is the same on every machine: a small generator with a seed.
#pragma once

#include <cstdint>

namespace railtap::rig {

/// SplitMix64 [Steele, Lea, Flood: Fast Splittable Pseudorandom Number Generators, 2014]. The
/// standard library's distributions differ from one implementation to the next, so they are not
/// used.
class Random {
 public:
  explicit constexpr Random(std::uint64_t seed) : state_(seed) {}

  [[nodiscard]] constexpr std::uint64_t next() {
    std::uint64_t z = (state_ += 0x9E3779B97F4A7C15U);
    z = (z ^ (z >> 30U)) * 0xBF58476D1CE4E5B9U;
    z = (z ^ (z >> 27U)) * 0x94D049BB133111EBU;
    return z ^ (z >> 31U);
  }

  /// Even over [0, 1).
  [[nodiscard]] constexpr double uniform() {
    return static_cast<double>(next() >> 11U) * 0x1.0p-53;
  }

  /// Variance 1, mean 0: the sum of four even ones, each of variance 1/12. Bounded at ±3.46, which
  /// no longer shows once a filter has summed many of them.
  [[nodiscard]] constexpr double gaussian() {
    const std::uint64_t bits = next();
    const auto sum =
        (bits & 0xFFFFU) + ((bits >> 16U) & 0xFFFFU) + ((bits >> 32U) & 0xFFFFU) + (bits >> 48U);
    // Mean of the sum 2·65535; standard deviation 65536·√(4/12).
    return (static_cast<double>(sum) - 131070.0) * (1.7320508075688772 / 65536.0);
  }

  /// Triangular over (−1, 1): the sum of two even ones, as dither is [AES17-2015, 3.9: TPDF].
  [[nodiscard]] constexpr double triangular() { return uniform() - uniform(); }

 private:
  std::uint64_t state_;
};

}  // namespace railtap::rig
