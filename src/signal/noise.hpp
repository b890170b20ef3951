// SPDX-License-Identifier: MIT
// Random numbers that are the same on every machine, dither, and pink noise.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::signal {

/// SplitMix64 [Steele, Lea, Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014]:
/// a counter and a mixing function, so any place in the sequence can be reached at once. The
/// standard library's distributions differ from one implementation to the next, so they are not
/// used.
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

  /// Variance 1, mean 0: the sum of four even ones, each of variance 1/12. Bounded at ±3.46, which
  /// no longer shows once a filter has summed many of them.
  constexpr double gaussian() {
    const std::uint64_t bits = next();
    const auto sum =
        (bits & 0xFFFFU) + ((bits >> 16U) & 0xFFFFU) + ((bits >> 32U) & 0xFFFFU) + (bits >> 48U);
    // Mean of the sum 2·65535; standard deviation 65536·√(4/12).
    return (static_cast<double>(sum) - 131070.0) * (1.7320508075688772 / 65536.0);
  }

  /// Triangular over (−1, 1): the sum of two even ones, as dither is [AES17-2015, 3.9: TPDF].
  constexpr double triangular() { return uniform() - uniform(); }

 private:
  std::uint64_t state_;
};

/// Adds the sum of two uniform values, each one code step wide: afterwards the error of rounding
/// has a mean and a power that do not depend on the signal, step²/4 in all
/// [Lipshitz, Wannamaker, Vanderkooy, "Quantization and dither: a theoretical survey", JAES 40
/// (1992) 355-375]. Independent in both channels. The seed is fixed, so files are reproducible.
class Dither {
 public:
  /// \param step distance of two codes in full scales, > 0
  explicit Dither(double step) : step_(step) {}

  void add(std::span<double> samples);

  /// The largest peak whose rounded, dithered samples stay within the codes ±(2^(bits−1) − 1): the
  /// dither is below one step, so one step is kept from the highest code.
  /// \param step 2^(1−bits)
  [[nodiscard]] static constexpr double highest_peak(double step) { return 1.0 - 2.0 * step; }

 private:
  Random random_{0x7261696C746170ULL};
  double step_;
};

/// One period of noise with RMS 1: every frequency between the two edges that fits the period, at
/// an amplitude of 1/√f and a random phase (fixed seed). So the slope is exactly −10 dB a decade,
/// nothing lies outside the band, and repeating it makes no seam. The period is 2¹⁸ samples: 5.9 s
/// at 44.1 kHz, 2.7 s at 96 kHz.
[[nodiscard]] std::vector<double> pink_noise_period(Hertz low, Hertz high, Hertz rate);

}  // namespace railtap::signal
