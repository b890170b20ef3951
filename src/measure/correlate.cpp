// SPDX-License-Identifier: MIT
// A signal against a cosine and a sine at once.
#include "measure/correlate.hpp"

#include "measure/vectorize.hpp"

namespace railtap::measure {

// Two halves at once: an addition takes the processor several cycles, and a single pair of sums
// would wait for each.
RAILTAP_VECTORIZE Correlation correlate(const double* x, const double* re, const double* im,
                                        std::size_t count) {
  const std::size_t half = count / 2;
  double first_re = 0.0;
  double first_im = 0.0;
  double second_re = 0.0;
  double second_im = 0.0;
#pragma omp simd reduction(+ : first_re, first_im, second_re, second_im)
  for (std::size_t n = 0; n < half; ++n) {
    first_re += x[n] * re[n];
    first_im += x[n] * im[n];
    second_re += x[n + half] * re[n + half];
    second_im += x[n + half] * im[n + half];
  }
  if (count % 2 != 0) {
    first_re += x[count - 1] * re[count - 1];
    first_im += x[count - 1] * im[count - 1];
  }
  return {first_re + second_re, first_im + second_im};
}

}  // namespace railtap::measure
