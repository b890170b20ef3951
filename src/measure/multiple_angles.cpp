// SPDX-License-Identifier: MIT
// Four harmonics at a time: an order costs one multiplication and one sum for each of its two
// parts, and the arrays are fetched and stored once for all four.
#include "measure/multiple_angles.hpp"

#include <algorithm>

#include "measure/vectorize.hpp"

namespace railtap::measure {
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

}  // namespace railtap::measure
