// SPDX-License-Identifier: MIT
// The inner loop that all tone measurement rests on: a signal against a cosine and a sine at once.
#pragma once

#include <cstddef>

namespace railtap::measure {

/// What a signal x has in common with a cosine (re) and a sine (im).
struct Correlation {
  double re = 0.0;  ///< Σ x·re
  double im = 0.0;  ///< Σ x·im
};

/// Sums over `count` samples; the order of summation, and so the last digits, depend on the
/// processor.
[[nodiscard]] Correlation correlate(const double* x, const double* re, const double* im,
                                    std::size_t count);

}  // namespace railtap::measure
