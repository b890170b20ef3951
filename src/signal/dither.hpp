// SPDX-License-Identifier: MIT
// Triangular dither, which makes the error of rounding a steady noise instead of distortion.
#pragma once

#include <span>

#include "signal/random.hpp"

namespace railtap::signal {

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

}  // namespace railtap::signal
