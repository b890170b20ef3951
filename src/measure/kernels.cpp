// SPDX-License-Identifier: MIT
// The small loops under all measuring, in a form that compilers vectorize.
#include "measure/kernels.hpp"

#include <algorithm>
#include <cmath>

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

namespace {

RAILTAP_VECTORIZE void correlate_half(const double* x, const double* twice_cosine, double* before,
                                      double* at, std::size_t count,
                                      std::array<double, orders_at_once>& sums) {
  double sum0 = 0.0, sum1 = 0.0, sum2 = 0.0, sum3 = 0.0;
#pragma omp simd reduction(+ : sum0, sum1, sum2, sum3)
  for (std::size_t n = 0; n < count; ++n) {
    const double value = x[n], twice = twice_cosine[n];
    const double a = at[n];
    const double b = twice * a - before[n];
    const double c = twice * b - a;
    const double d = twice * c - b;
    sum0 += value * a;
    sum1 += value * b;
    sum2 += value * c;
    sum3 += value * d;
    before[n] = d;
    at[n] = twice * d - c;
  }
  sums = {sum0, sum1, sum2, sum3};
}

RAILTAP_VECTORIZE void accumulate_half(double c0, double c1, double c2, double c3,
                                       const double* twice_cosine, double* before, double* at,
                                       std::size_t count, double* out) {
#pragma omp simd
  for (std::size_t n = 0; n < count; ++n) {
    const double twice = twice_cosine[n];
    const double a = at[n];
    const double b = twice * a - before[n];
    const double c = twice * b - a;
    const double d = twice * c - b;
    out[n] += (c0 * a + c1 * b) + (c2 * c + c3 * d);
    before[n] = d;
    at[n] = twice * d - c;
  }
}

}  // namespace

void MultipleAngles::resize(std::size_t count) {
  for (auto* array : {&twice_cosine, &cosine, &cosine_before, &sine, &sine_before}) {
    array->resize(count);
  }
}

void start_orders(const double* cosine, const double* sine, std::size_t count,
                  MultipleAngles& angles) {
  for (std::size_t n = 0; n < count; ++n) angles.twice_cosine[n] = 2.0 * cosine[n];
  std::copy_n(cosine, count, angles.cosine.begin());
  std::copy_n(sine, count, angles.sine.begin());
  std::fill_n(angles.cosine_before.begin(), count, 1.0);
  std::fill_n(angles.sine_before.begin(), count, 0.0);
}

void correlate_four(const double* even, const double* odd, std::size_t count,
                    MultipleAngles& angles, std::array<Correlation, orders_at_once>& sums) {
  std::array<double, orders_at_once> cosines, sines;
  correlate_half(even, angles.twice_cosine.data(), angles.cosine_before.data(),
                 angles.cosine.data(), count, cosines);
  correlate_half(odd, angles.twice_cosine.data(), angles.sine_before.data(), angles.sine.data(),
                 count, sines);
  for (std::size_t k = 0; k < orders_at_once; ++k) sums[k] = {cosines[k], sines[k]};
}

void accumulate_four(const std::complex<double>* c, std::size_t count, MultipleAngles& angles,
                     double* even, double* odd) {
  accumulate_half(c[0].real(), c[1].real(), c[2].real(), c[3].real(), angles.twice_cosine.data(),
                  angles.cosine_before.data(), angles.cosine.data(), count, even);
  accumulate_half(-c[0].imag(), -c[1].imag(), -c[2].imag(), -c[3].imag(),
                  angles.twice_cosine.data(), angles.sine_before.data(), angles.sine.data(), count,
                  odd);
}

double median_reordering(std::span<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

double median(std::vector<double> values) {
  return median_reordering(values);
}

void solve_symmetric(std::vector<double>& a, std::vector<double>& b, std::size_t n) {
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j <= i; ++j) {
      double sum = a[i * n + j];
      for (std::size_t k = 0; k < j; ++k) sum -= a[i * n + k] * a[j * n + k];
      a[i * n + j] = i == j ? std::sqrt(sum) : sum / a[j * n + j];
    }
  }
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t k = 0; k < i; ++k) b[i] -= a[i * n + k] * b[k];
    b[i] /= a[i * n + i];
  }
  for (std::size_t i = n; i-- > 0;) {
    for (std::size_t k = i + 1; k < n; ++k) b[i] -= a[k * n + i] * b[k];
    b[i] /= a[i * n + i];
  }
}

}  // namespace railtap::measure
