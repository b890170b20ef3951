// SPDX-License-Identifier: MIT
// Four harmonics at a time: an order costs two multiplications and two sums a sample, and the
// arrays are fetched and stored once for all four.
#include "measure/powers.hpp"

#include "measure/vectorize.hpp"

namespace railtap::measure {

RAILTAP_VECTORIZE void correlate_four(const double* x, const double* z_re, const double* z_im,
                                      double* w_re, double* w_im, std::size_t count,
                                      std::array<Correlation, orders_at_once>& sums) {
  double re0 = 0.0, re1 = 0.0, re2 = 0.0, re3 = 0.0;
  double im0 = 0.0, im1 = 0.0, im2 = 0.0, im3 = 0.0;
#pragma omp simd reduction(+ : re0, re1, re2, re3, im0, im1, im2, im3)
  for (std::size_t n = 0; n < count; ++n) {
    const double value = x[n];
    const double zr = z_re[n], zi = z_im[n];
    const double ar = w_re[n], ai = w_im[n];
    re0 += value * ar;
    im0 += value * ai;
    const double br = ar * zr - ai * zi, bi = ar * zi + ai * zr;
    re1 += value * br;
    im1 += value * bi;
    const double cr = br * zr - bi * zi, ci = br * zi + bi * zr;
    re2 += value * cr;
    im2 += value * ci;
    const double dr = cr * zr - ci * zi, di = cr * zi + ci * zr;
    re3 += value * dr;
    im3 += value * di;
    w_re[n] = dr * zr - di * zi;
    w_im[n] = dr * zi + di * zr;
  }
  sums = {Correlation{re0, im0}, {re1, im1}, {re2, im2}, {re3, im3}};
}

RAILTAP_VECTORIZE void accumulate_four(const double* z_re, const double* z_im, double* w_re,
                                       double* w_im, const std::complex<double>* c,
                                       std::size_t count, double* out) {
  const double c0r = c[0].real(), c0i = c[0].imag(), c1r = c[1].real(), c1i = c[1].imag();
  const double c2r = c[2].real(), c2i = c[2].imag(), c3r = c[3].real(), c3i = c[3].imag();
#pragma omp simd
  for (std::size_t n = 0; n < count; ++n) {
    const double zr = z_re[n], zi = z_im[n];
    const double ar = w_re[n], ai = w_im[n];
    const double br = ar * zr - ai * zi, bi = ar * zi + ai * zr;
    const double cr = br * zr - bi * zi, ci = br * zi + bi * zr;
    const double dr = cr * zr - ci * zi, di = cr * zi + ci * zr;
    out[n] += (c0r * ar - c0i * ai) + (c1r * br - c1i * bi) + (c2r * cr - c2i * ci) +
              (c3r * dr - c3i * di);
    w_re[n] = dr * zr - di * zi;
    w_im[n] = dr * zi + di * zr;
  }
}

}  // namespace railtap::measure
