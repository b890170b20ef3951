// SPDX-License-Identifier: MIT
// The inner loops over a tone's harmonics: four orders at a time, whose oscillations are powers of
// one.
#pragma once

#include <array>
#include <complex>
#include <cstddef>

#include "measure/correlate.hpp"

namespace railtap::measure {

/// Orders that are worked on at once: their sums fit the processor's registers.
inline constexpr std::size_t orders_at_once = 4;

/// Σ x·wᵏ for four orders in a row. On entry w holds the oscillation of the first, on return that
/// of the order after the last. \param z_re, z_im the fundamental's oscillation e^{jωt}; all arrays
/// have `count` elements
void correlate_four(const double* x, const double* z_re, const double* z_im, double* w_re,
                    double* w_im, std::size_t count, std::array<Correlation, orders_at_once>& sums);

/// Adds Re(c·w) for four orders in a row to `out`; w as for correlate_four.
void accumulate_four(const double* z_re, const double* z_im, double* w_re, double* w_im,
                     const std::complex<double>* c, std::size_t count, double* out);

}  // namespace railtap::measure
