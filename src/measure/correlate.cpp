// SPDX-License-Identifier: MIT
// A signal against a cosine and a sine at once.
#include "measure/correlate.hpp"

#include "measure/vectorize.hpp"

namespace railtap::measure {

RAILTAP_VECTORIZE Correlation correlate(const double* x, const double* re, const double* im,
                                        std::size_t count) {
  double sum_re = 0.0;
  double sum_im = 0.0;
#pragma omp simd reduction(+ : sum_re, sum_im)
  for (std::size_t n = 0; n < count; ++n) {
    sum_re += x[n] * re[n];
    sum_im += x[n] * im[n];
  }
  return {sum_re, sum_im};
}

}  // namespace railtap::measure
