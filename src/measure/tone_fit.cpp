// SPDX-License-Identifier: MIT
// Least-squares fit of a fundamental, its harmonics and DC.
#include "measure/tone_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "measure/correlate.hpp"
#include "measure/powers.hpp"
#include "measure/vectorize.hpp"

namespace railtap::measure {
namespace {

using std::numbers::pi;

constexpr std::size_t chunk_length = 1024;  // a chunk's arrays stay in the first-level cache
constexpr std::size_t stride_length = 32;   // its square is a chunk
// Enough that a clipped tone's harmonics do not pull; whole groups of orders_at_once are fastest.
constexpr std::size_t frequency_fit_orders = 2 * orders_at_once;
constexpr int most_frequency_steps = 6;
// A step below this many cycles over the whole block cannot change a −180 dB residual: an error of
// ε cycles leaves a residual of about 2π·ε/√12 of the fundamental.
constexpr double settled_cycles_per_block = 1e-11;
constexpr double settled_share_of_noise =
    0.01;  // or below this share of what the noise leaves uncertain

RAILTAP_VECTORIZE void multiply(const double* a_re, const double* a_im, double* b_re, double* b_im,
                                std::size_t count) {
#pragma omp simd
  for (std::size_t n = 0; n < count; ++n) {
    const double re = a_re[n] * b_re[n] - a_im[n] * b_im[n];
    b_im[n] = a_re[n] * b_im[n] + a_im[n] * b_re[n];
    b_re[n] = re;
  }
}

RAILTAP_VECTORIZE void rotate(const double* table_re, const double* table_im, double re, double im,
                              double* out_re, double* out_im, std::size_t count) {
#pragma omp simd
  for (std::size_t n = 0; n < count; ++n) {
    out_re[n] = table_re[n] * re - table_im[n] * im;
    out_im[n] = table_re[n] * im + table_im[n] * re;
  }
}

RAILTAP_VECTORIZE double total(const double* x, std::size_t count) {
  double sum = 0.0;
#pragma omp simd reduction(+ : sum)
  for (std::size_t n = 0; n < count; ++n) sum += x[n];
  return sum;
}

RAILTAP_VECTORIZE void accumulate(const double* re, const double* im, double c_re, double c_im,
                                  double* out, std::size_t count) {
#pragma omp simd
  for (std::size_t n = 0; n < count; ++n) out[n] += c_re * re[n] - c_im * im[n];
}

RAILTAP_VECTORIZE void subtract(const double* a, const double* b, double* out, std::size_t count) {
#pragma omp simd
  for (std::size_t n = 0; n < count; ++n) out[n] = a[n] - b[n];
}

struct StepSums {
  double residual = 0.0;               // Σ r²
  double projection = 0.0;             // Σ w·c·r, with c = t·slope
  double weighted_energy = 0.0;        // Σ w·c²
  double twice_weighted_energy = 0.0;  // Σ w²·c²
};

RAILTAP_VECTORIZE void add_step_sums(const double* x, const double* model, const double* slope,
                                     double start, double inverse_half_length, std::size_t count,
                                     StepSums& sums) {
  double residual = 0.0;
  double projection = 0.0;
  double energy = 0.0;
  double twice = 0.0;
#pragma omp simd reduction(+ : residual, projection, energy, twice)
  for (std::size_t n = 0; n < count; ++n) {
    const double t = start + static_cast<double>(n);
    const double u = t * inverse_half_length;
    const double w = (1.0 - u * u) * (1.0 - u * u);
    const double r = x[n] - model[n];
    const double column = t * slope[n];
    residual += r * r;
    projection += w * column * r;
    energy += w * column * column;
    twice += w * w * column * column;
  }
  sums.residual += residual;
  sums.projection += projection;
  sums.weighted_energy += energy;
  sums.twice_weighted_energy += twice;
}

// Σ over the centred block of cos(k·ω·t): the Dirichlet kernel.
double cosine_sum(double order, double cycles_per_sample, double samples) {
  const double half = pi * order * cycles_per_sample;
  const double denominator = std::sin(half);
  if (std::abs(denominator) < 1e-14) return samples;
  return std::sin(half * samples) / denominator;
}

// Solves the symmetric positive definite system in place by Cholesky; the right side becomes the
// solution.
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

}  // namespace

void ToneFitter::prepare_rotation(double cycles_per_sample) {
  if (cycles_per_sample == cycles_per_sample_ && rotation_re_.size() == chunk_length) return;
  for (auto* array : {&rotation_re_, &rotation_im_, &base_re_, &base_im_, &power_re_, &power_im_,
                      &model_, &slope_}) {
    array->resize(chunk_length);
  }
  cycles_per_sample_ = cycles_per_sample;
  // Fine steps within a stride, and one turn for each stride: few sines for many samples.
  const double turn = 2.0 * pi * cycles_per_sample;
  for (std::size_t m = 0; m < stride_length; ++m) {
    rotation_re_[m] = std::cos(turn * static_cast<double>(m));
    rotation_im_[m] = std::sin(turn * static_cast<double>(m));
  }
  for (std::size_t first = stride_length; first < chunk_length; first += stride_length) {
    const double angle = turn * static_cast<double>(first);
    rotate(rotation_re_.data(), rotation_im_.data(), std::cos(angle), std::sin(angle),
           rotation_re_.data() + first, rotation_im_.data() + first, stride_length);
  }
}

void ToneFitter::start_chunk(std::size_t first, std::size_t samples, double cycles_per_sample) {
  const double t = static_cast<double>(first) - 0.5 * static_cast<double>(samples - 1);
  const double cycles = t * cycles_per_sample;
  const double angle = 2.0 * pi * (cycles - std::floor(cycles));
  const std::size_t count = std::min(chunk_length, samples - first);
  rotate(rotation_re_.data(), rotation_im_.data(), std::cos(angle), std::sin(angle),
         base_re_.data(), base_im_.data(), count);
}

void ToneFitter::correlate_orders(const double* x, std::size_t count, std::size_t orders) {
  std::size_t k = 1;
  std::array<Correlation, orders_at_once> four;
  for (; k + orders_at_once <= orders + 1; k += orders_at_once) {
    correlate_four(x, base_re_.data(), base_im_.data(), power_re_.data(), power_im_.data(), count,
                   four);
    for (std::size_t i = 0; i < orders_at_once; ++i) {
      sums_[k + i] += std::complex(four[i].re, -four[i].im);
    }
  }
  for (; k <= orders; ++k) {
    const Correlation sum = correlate(x, power_re_.data(), power_im_.data(), count);
    sums_[k] += std::complex(sum.re, -sum.im);
    if (k < orders)
      multiply(base_re_.data(), base_im_.data(), power_re_.data(), power_im_.data(), count);
  }
}

void ToneFitter::add_harmonics(std::span<const std::complex<double>> phasors, std::size_t count,
                               double* out) {
  std::copy_n(base_re_.begin(), count, power_re_.begin());
  std::copy_n(base_im_.begin(), count, power_im_.begin());
  std::size_t k = 0;
  for (; k + orders_at_once <= phasors.size(); k += orders_at_once) {
    accumulate_four(base_re_.data(), base_im_.data(), power_re_.data(), power_im_.data(),
                    phasors.data() + k, count, out);
  }
  for (; k < phasors.size(); ++k) {
    accumulate(power_re_.data(), power_im_.data(), phasors[k].real(), phasors[k].imag(), out,
               count);
    if (k + 1 < phasors.size())
      multiply(base_re_.data(), base_im_.data(), power_re_.data(), power_im_.data(), count);
  }
}

void ToneFitter::project(std::span<const double> samples, std::size_t orders) {
  sums_.assign(orders + 1, 0.0);
  for (std::size_t first = 0; first < samples.size(); first += chunk_length) {
    const std::size_t count = std::min(chunk_length, samples.size() - first);
    const double* x = samples.data() + first;
    start_chunk(first, samples.size(), cycles_per_sample_);
    std::copy_n(base_re_.begin(), count, power_re_.begin());
    std::copy_n(base_im_.begin(), count, power_im_.begin());
    sums_[0] += total(x, count);
    correlate_orders(x, count, orders);
  }
}

void ToneFitter::solve(std::size_t samples, double cycles_per_sample, std::size_t orders,
                       ToneFit& fit) {
  const auto length = static_cast<double>(samples);
  const auto dirichlet = [&](std::size_t order) {
    return cosine_sum(static_cast<double>(order), cycles_per_sample, length);
  };
  fit.cycles_per_sample = cycles_per_sample;
  fit.phasor.resize(orders);

  const std::size_t n = orders + 1;  // dc and the cosines
  matrix_.resize(n * n);
  rhs_.resize(n);
  for (std::size_t i = 0; i < n; ++i) {
    rhs_[i] = sums_[i].real();
    for (std::size_t j = 0; j <= i; ++j)
      matrix_[i * n + j] = 0.5 * (dirichlet(i - j) + dirichlet(i + j));
  }
  solve_symmetric(matrix_, rhs_, n);
  fit.dc = rhs_[0];
  for (std::size_t k = 0; k < orders; ++k) fit.phasor[k] = rhs_[k + 1];

  for (std::size_t i = 0; i < orders; ++i) {  // the sines
    rhs_[i] = -sums_[i + 1].imag();
    for (std::size_t j = 0; j <= i; ++j) {
      matrix_[i * orders + j] = 0.5 * (dirichlet(i - j) - dirichlet(i + j + 2));
    }
  }
  solve_symmetric(matrix_, rhs_, orders);
  for (std::size_t k = 0; k < orders; ++k) fit.phasor[k] -= std::complex(0.0, rhs_[k]);
}

void ToneFitter::fit_known_frequency(std::span<const double> samples, double cycles_per_sample,
                                     std::size_t orders, ToneFit& fit) {
  prepare_rotation(cycles_per_sample);
  project(samples, orders);
  solve(samples.size(), cycles_per_sample, orders, fit);
}

// Change of frequency, in cycles per sample, that reduces the residual most: the residual's
// projection on t·(d/dθ of the fundamental). The projection on the amplitude columns is small, as t
// is odd about the middle. The weight (1 − u²)², zero at both ends, keeps harmonics that are not in
// the model from pulling: unweighted, a 50 Hz square wave's upper harmonics pull it by 2e-5.
ToneFitter::FrequencyStep ToneFitter::frequency_step(std::span<const double> samples,
                                                     const ToneFit& fit) {
  StepSums sums;
  const auto c1 = fit.phasor[0] * std::complex(0.0, 1.0);
  for (std::size_t first = 0; first < samples.size(); first += chunk_length) {
    const std::size_t count = std::min(chunk_length, samples.size() - first);
    start_chunk(first, samples.size(), cycles_per_sample_);
    std::fill_n(model_.begin(), count, fit.dc);
    std::fill_n(slope_.begin(), count, 0.0);
    accumulate(base_re_.data(), base_im_.data(), c1.real(), c1.imag(), slope_.data(), count);
    add_harmonics(fit.phasor, count, model_.data());
    const double start = static_cast<double>(first) - 0.5 * static_cast<double>(samples.size() - 1);
    add_step_sums(samples.data() + first, model_.data(), slope_.data(), start,
                  2.0 / static_cast<double>(samples.size()), count, sums);
  }
  if (sums.weighted_energy <= 0.0) return {};
  // Variance of a weighted least-squares estimate in white noise: σ²·Σw²c²/(Σw·c²)², c the column
  // [Kay, Estimation Theory (1993), section 8.4].
  const double sigma = std::sqrt(sums.residual / static_cast<double>(samples.size()));
  const double noise = sigma * std::sqrt(sums.twice_weighted_energy) / sums.weighted_energy;
  const double unexplained = std::sqrt(2.0) * sigma / std::abs(c1);
  return {sums.projection / sums.weighted_energy / (2.0 * pi), noise / (2.0 * pi), unexplained};
}

void ToneFitter::fit(std::span<const double> samples, double start_cycles_per_sample,
                     std::size_t orders, ToneFit& fit) {
  const std::size_t few = std::min(orders, frequency_fit_orders);
  const auto length = static_cast<double>(samples.size());
  double frequency = start_cycles_per_sample;
  for (int attempt = 0; attempt < most_frequency_steps; ++attempt) {
    fit_known_frequency(samples, frequency, few, fit);
    const FrequencyStep step = frequency_step(samples, fit);
    frequency = std::clamp(frequency + step.change, 0.5 / length, 0.5 - 0.5 / length);
    const double settled =
        std::max(settled_cycles_per_block / length, settled_share_of_noise * step.noise);
    // What a Gauss-Newton step leaves is its own size times how far the model was from linear: the
    // phase it moved at the ends, and what the model does not explain [Nocedal and Wright,
    // Numerical Optimization (2006), section 10.3].
    const double phase_moved = pi * length * std::abs(step.change);
    if (std::abs(step.change) * (phase_moved + step.unexplained) < settled) break;
  }
  fit_known_frequency(samples, frequency, orders, fit);
}

void ToneFitter::residual(std::span<const double> samples, const ToneFit& fit,
                          std::span<double> residual) {
  prepare_rotation(fit.cycles_per_sample);
  for (std::size_t first = 0; first < samples.size(); first += chunk_length) {
    const std::size_t count = std::min(chunk_length, samples.size() - first);
    start_chunk(first, samples.size(), fit.cycles_per_sample);
    std::fill_n(model_.begin(), count, fit.dc);
    add_harmonics(fit.phasor, count, model_.data());
    subtract(samples.data() + first, model_.data(), residual.data() + first, count);
  }
}

}  // namespace railtap::measure
