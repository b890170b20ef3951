// SPDX-License-Identifier: MIT
// A law whose slope falls from one to nothing at either rail, and what it makes of a sine.
#pragma once

#include <cstddef>
#include <vector>

namespace railtap::measure {

/// How the slope of a law falls on the way up to a rail: f'(x) = (1 + x^sharpness)^(−depth), x re
/// the rail. Depth 1 is the knee that `fit_clipped_sine` knows, 1 + 1/sharpness the p-norm; a
/// sharpness of some hundreds is a corner.
struct KneeShape {
  double sharpness = 10.0;  ///< > 0
  double depth = 1.0;       ///< > 0

  /// The input re the rail at which the slope has fallen to `slope` (0 … 1).
  [[nodiscard]] double input_at(double slope) const;
};

/// What a knee of one shape takes away from the harmonics of a sine, for sines of all amplitudes.
///
/// With D(x) = x − f(x), the part that one rail takes is Q_k(A) = (2/π)·∫₀^(π/2) D(A·cos θ)·cos kθ
/// dθ, so a sine of amplitude A between rails c₁ and −c₂ has a_k = A·[k = 1] − c₁·Q_k(A/c₁) +
/// (−1)^k·c₂·Q_k(A/c₂) (integrated by hand). The table depends on the shape alone.
class KneeTable {
 public:
  /// \param orders 1 … most_orders
  KneeTable(const KneeShape& shape, std::size_t orders);

  /// Q_1 … Q_orders at an amplitude re the rail. \param ln_amplitude natural logarithm; above that
  /// of 15 dB it is held \param taken receives orders() values, Q_k at index k−1
  void at(double ln_amplitude, double* taken) const;

  [[nodiscard]] std::size_t orders() const { return orders_; }

  static constexpr std::size_t most_orders = 24;

 private:
  std::size_t orders_;
  std::vector<double> rows_;  // by amplitude, then by order
};

}  // namespace railtap::measure
