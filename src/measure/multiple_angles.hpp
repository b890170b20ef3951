// SPDX-License-Identifier: MIT
// The inner loops over a tone's harmonics: cos kθ and sin kθ for four orders at a time.
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <vector>

#include "measure/correlate.hpp"

namespace railtap::measure {

/// Orders that are worked on at once: their sums fit the processor's registers.
inline constexpr std::size_t orders_at_once = 4;

/// cos kθ and sin kθ of many angles θ, at the next order to be used and at the one before it: what
/// the recurrence cos (k+1)θ = 2·cos θ·cos kθ − cos (k−1)θ, and the same for the sine, needs
/// [Abramowitz and Stegun, 22.7.4 and 22.7.5 with x = cos θ]. Its rounding grows as k², to 1e−13 at
/// order 32.
struct MultipleAngles {
  std::vector<double> twice_cosine;  ///< 2·cos θ
  std::vector<double> cosine, cosine_before;
  std::vector<double> sine, sine_before;

  void resize(std::size_t count);
};

/// Back to order 1. \param cosine, sine of θ; arrays of `count` elements
void start_orders(const double* cosine, const double* sine, std::size_t count,
                  MultipleAngles& angles);

/// Σ even·cos kθ (as re) and Σ odd·sin kθ (as im) for four orders in a row; moves on by four.
/// \param even, odd of `count` elements
void correlate_four(const double* even, const double* odd, std::size_t count,
                    MultipleAngles& angles, std::array<Correlation, orders_at_once>& sums);

/// Adds Re(c)·cos kθ to `even` and −Im(c)·sin kθ to `odd` for four orders in a row; moves on by
/// four. \param c of four elements; even, odd of `count`
void accumulate_four(const std::complex<double>* c, std::size_t count, MultipleAngles& angles,
                     double* even, double* odd);

}  // namespace railtap::measure
