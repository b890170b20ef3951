// SPDX-License-Identifier: MIT
// A sine whose phase is exact however far from the start.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "units/quantity.hpp"

namespace railtap::signal {

/// Renders sin(2π(f·n/rate + phase)) for any n.
///
/// What grows with n in most generators, the rounding error of the phase, does not here: f·n is
/// formed with its rounding error (fused multiply-add) and reduced by whole seconds without error
/// (fmod is exact), so the phase is right to 10⁻¹⁵ cycles anywhere. Within a chunk the sine follows
/// from two tables by the addition theorem: two multiplications and an addition a sample, no
/// recurrence, so compilers vectorize it. Chunks lie on a fixed grid, so how a caller splits a
/// signal does not change its samples.
class Oscillator {
 public:
  /// \param frequency below rate/2; \param rate > 0
  Oscillator(Hertz frequency, Hertz rate);

  /// Samples first … first + out.size() − 1, peak 1.
  void render(std::int64_t first, std::span<double> out, double phase_cycles = 0.0) const;

  /// f·n/rate modulo 1, in cycles.
  [[nodiscard]] double cycles_at(std::int64_t n) const;

 private:
  static constexpr std::size_t chunk = 1024;  // both tables stay in the first-level cache
  double frequency_, rate_;
  std::array<double, chunk> sine_, cosine_;
};

}  // namespace railtap::signal
