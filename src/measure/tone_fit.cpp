// SPDX-License-Identifier: MIT
// Least-squares fit of a fundamental, its harmonics and DC to a block of samples.
#include "measure/tone_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "measure/kernels.hpp"
#include "units/error.hpp"

namespace railtap::measure {
namespace {

double at_phase(const HarmonicSeries& tone, double phase) {
  const std::complex<double> step = std::polar(1.0, phase);
  std::complex<double> turn = 1.0;
  double sum = 0.0;
  for (const auto& phasor : tone.phasor) {
    turn *= step;
    sum += (phasor * turn).real();
  }
  return sum;
}

}  // namespace

bool is_same_waveform(const HarmonicSeries& a, const HarmonicSeries& b) {
  constexpr double same_frequency = 1e-3;  // corners behind the tone count in tone frequencies
  constexpr double own_share = 3e-3;       // a tenth of what a fitted shape may miss a harmonic by
  constexpr double deviations = 4.0;       // of the sum below from its mean, for noise alone
  const std::size_t orders = std::min(a.phasor.size(), b.phasor.size());
  if (orders < 2 || std::max(a.phasor.size(), b.phasor.size()) > orders + 1) return false;
  if (std::abs(b.fundamental / a.fundamental - 1.0) > same_frequency) return false;
  const double size_a = std::abs(a.phasor[0]), size_b = std::abs(b.phasor[0]);
  constexpr double most_of_one = 16.0;  // of its share: noise alone does so once in 3000 (e^-8)
  double sum = 0.0;  // of squares of deviations, a real and an imaginary one for each order
  for (std::size_t k = 1; k < orders; ++k) {
    const std::complex<double> before = a.phasor[k] / size_a;
    const double noise_a = a.sigma[k] / size_a, noise_b = b.sigma[k] / size_b;
    const double share = own_share * std::abs(before);
    const double allowed = noise_a * noise_a + noise_b * noise_b + 0.5 * share * share;
    const double moved = std::norm(b.phasor[k] / size_b - before);
    if (moved > most_of_one * allowed) return false;
    if (allowed > 0.0) sum += moved / allowed;
  }
  const double mean = 2.0 * static_cast<double>(orders - 1);  // its variance is twice that
  return sum <= mean + deviations * std::sqrt(2.0 * mean);
}

double form_factor(const HarmonicSeries& tone) {
  if (tone.phasor.empty() || !(std::abs(tone.phasor.front()) > 0.0)) {
    throw Error("there is no tone whose shape could be told", "form factor", "");
  }
  // The mean of |x| has corners at the zero crossings, where a sum over n points is good to 1/n².
  const std::size_t points = std::max<std::size_t>(4096, 16 * tone.phasor.size());
  double squares = 0.0, rectified = 0.0;
  for (std::size_t i = 0; i < points; ++i) {
    const double phase =
        2.0 * std::numbers::pi * (static_cast<double>(i) + 0.5) / static_cast<double>(points);
    const double x = at_phase(tone, phase);
    squares += x * x;
    rectified += std::abs(x);
  }
  const auto n = static_cast<double>(points);
  return std::sqrt(squares / n) / (rectified / n);
}

namespace {

using std::numbers::pi;

constexpr std::size_t chunk_length = 512;  // a chunk's arrays stay in the first-level cache
constexpr std::size_t stride_length = 32;
// Enough that a clipped tone's harmonics do not pull; whole groups of orders_at_once are fastest.
constexpr std::size_t frequency_fit_orders = 2 * orders_at_once;
constexpr int most_frequency_steps = 6;
// A step below this many cycles over the whole block cannot change a −180 dB residual: an error of
// ε cycles leaves a residual of about 2π·ε/√12 of the fundamental.
constexpr double settled_cycles_per_block = 1e-11;
constexpr double settled_share_of_noise =
    0.01;  // or below this share of what the noise leaves uncertain

// x(t) ± x(−t): `back` runs towards the start of the block.
RAILTAP_VECTORIZE void fold_halves(const double* ahead, const double* back, double* even,
                                   double* odd, std::size_t count) {
#pragma omp simd
  for (std::size_t n = 0; n < count; ++n) {
    const double later = ahead[n];
    const double earlier = back[-static_cast<std::ptrdiff_t>(n)];
    even[n] = later + earlier;
    odd[n] = later - earlier;
  }
}

// The way back, less a model of which half of either part is given.
RAILTAP_VECTORIZE void unfold_difference(const double* ahead, const double* back,
                                         const double* model_even, const double* model_odd,
                                         double* out_ahead, double* out_back, std::size_t count) {
#pragma omp simd
  for (std::size_t n = 0; n < count; ++n) {
    const auto m = -static_cast<std::ptrdiff_t>(n);
    out_ahead[n] = ahead[n] - (model_even[n] + model_odd[n]);
    out_back[m] = back[m] - (model_even[n] - model_odd[n]);
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

struct StepSums {
  double residual = 0.0;               // Σ r²
  double projection = 0.0;             // Σ w·c·r, with c = t·slope
  double weighted_energy = 0.0;        // Σ w·c²
  double twice_weighted_energy = 0.0;  // Σ w²·c²
};

// Over a stretch of the folded block, ±t together. The column c = t·slope, with slope =
// Re(s·e^{jωt}), has the even part −t·Im(s)·sin ωt and the odd part t·Re(s)·cos ωt.
RAILTAP_VECTORIZE void add_step_sums(const double* even, const double* odd,
                                     const double* model_even, const double* model_odd,
                                     const double* cosine, const double* sine, double slope_re,
                                     double slope_im, double start, double inverse_half_length,
                                     std::size_t count, StepSums& sums) {
  double residual = 0.0;
  double projection = 0.0;
  double energy = 0.0;
  double twice = 0.0;
#pragma omp simd reduction(+ : residual, projection, energy, twice)
  for (std::size_t n = 0; n < count; ++n) {
    const double t = start + static_cast<double>(n);
    const double u = t * inverse_half_length;
    const double w = (1.0 - u * u) * (1.0 - u * u);
    const double r_even = even[n] - 2.0 * model_even[n];
    const double r_odd = odd[n] - 2.0 * model_odd[n];
    const double c_even = -t * slope_im * sine[n];
    const double c_odd = t * slope_re * cosine[n];
    const double c_energy = c_even * c_even + c_odd * c_odd;
    residual += r_even * r_even + r_odd * r_odd;
    projection += w * (c_even * r_even + c_odd * r_odd);
    energy += w * c_energy;
    twice += w * w * c_energy;
  }
  sums.residual += 0.5 * residual;
  sums.projection += projection;
  sums.weighted_energy += 2.0 * energy;
  sums.twice_weighted_energy += 2.0 * twice;
}

// Σ over the centred block of cos(k·ω·t): the Dirichlet kernel.
double cosine_sum(double order, double cycles_per_sample, double samples) {
  const double half = pi * order * cycles_per_sample;
  const double denominator = std::sin(half);
  if (std::abs(denominator) < 1e-14) return samples;
  return std::sin(half * samples) / denominator;
}

}  // namespace

void ToneFitter::set_length(std::size_t samples) {
  samples_ = samples;
  first_t_ = samples_ % 2 != 0 ? 1.0 : 0.5;
}

void ToneFitter::fold(std::span<const double> samples) {
  set_length(samples.size());
  const std::size_t half = samples_ / 2;
  centre_ = samples_ % 2 != 0 ? samples[half] : 0.0;
  even_.resize(half);
  odd_.resize(half);
  if (half == 0) return;
  fold_halves(samples.data() + (samples_ - half), samples.data() + (half - 1), even_.data(),
              odd_.data(), half);
}

void ToneFitter::prepare_rotation(double cycles_per_sample) {
  if (cycles_per_sample == cycles_per_sample_ && rotation_re_.size() == chunk_length) return;
  for (auto* array :
       {&rotation_re_, &rotation_im_, &base_re_, &base_im_, &model_even_, &model_odd_}) {
    array->resize(chunk_length);
  }
  angles_.resize(chunk_length);
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

// Sets e^{jωt} for the chunk of the folded block from `first` on. \returns its length
std::size_t ToneFitter::start_chunk(std::size_t first) {
  const double cycles = (static_cast<double>(first) + first_t_) * cycles_per_sample_;
  const double angle = 2.0 * pi * (cycles - std::floor(cycles));
  const std::size_t count = std::min(chunk_length, samples_ / 2 - first);
  rotate(rotation_re_.data(), rotation_im_.data(), std::cos(angle), std::sin(angle),
         base_re_.data(), base_im_.data(), count);
  start_orders(base_re_.data(), base_im_.data(), count, angles_);
  return count;
}

void ToneFitter::project(std::size_t orders) {
  const std::size_t groups = (orders + orders_at_once - 1) / orders_at_once;
  sums_.assign(groups * orders_at_once + 1, centre_);
  std::array<Correlation, orders_at_once> four;
  for (std::size_t first = 0; first < even_.size(); first += chunk_length) {
    const std::size_t count = start_chunk(first);
    sums_[0] += total(even_.data() + first, count);
    for (std::size_t group = 0; group < groups; ++group) {
      correlate_four(even_.data() + first, odd_.data() + first, count, angles_, four);
      for (std::size_t i = 0; i < orders_at_once; ++i) {
        sums_[1 + group * orders_at_once + i] += std::complex(four[i].re, -four[i].im);
      }
    }
  }
}

// The model over the current chunk.
void ToneFitter::evaluate(const ToneFit& fit, std::size_t count) {
  const std::size_t groups = (fit.phasor.size() + orders_at_once - 1) / orders_at_once;
  padded_.assign(groups * orders_at_once, 0.0);
  std::copy(fit.phasor.begin(), fit.phasor.end(), padded_.begin());
  std::fill_n(model_even_.begin(), count, fit.dc);
  std::fill_n(model_odd_.begin(), count, 0.0);
  for (std::size_t group = 0; group < groups; ++group) {
    accumulate_four(padded_.data() + group * orders_at_once, count, angles_, model_even_.data(),
                    model_odd_.data());
  }
}

void ToneFitter::solve(double cycles_per_sample, std::size_t orders, ToneFit& fit) {
  const auto length = static_cast<double>(samples_);
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

void ToneFitter::fit_folded(double cycles_per_sample, std::size_t orders, ToneFit& fit) {
  prepare_rotation(cycles_per_sample);
  project(orders);
  solve(cycles_per_sample, orders, fit);
}

void ToneFitter::fit_known_frequency(std::span<const double> samples, double cycles_per_sample,
                                     std::size_t orders, ToneFit& fit) {
  fold(samples);
  fit_folded(cycles_per_sample, orders, fit);
}

// Change of frequency, in cycles per sample, that reduces the residual most: the residual's
// projection on t·(d/dθ of the fundamental). The projection on the amplitude columns is small, as t
// is odd about the middle. The weight (1 − u²)², zero at both ends, keeps harmonics that are not in
// the model from pulling: unweighted, a 50 Hz square wave's upper harmonics pull it by 2e-5.
ToneFitter::FrequencyStep ToneFitter::frequency_step(const ToneFit& fit) {
  const auto length = static_cast<double>(samples_);
  const auto slope = fit.phasor[0] * std::complex(0.0, 1.0);
  StepSums sums;
  for (std::size_t first = 0; first < even_.size(); first += chunk_length) {
    const std::size_t count = start_chunk(first);
    evaluate(fit, count);
    add_step_sums(even_.data() + first, odd_.data() + first, model_even_.data(), model_odd_.data(),
                  base_re_.data(), base_im_.data(), slope.real(), slope.imag(),
                  static_cast<double>(first) + first_t_, 2.0 / length, count, sums);
  }
  if (sums.weighted_energy <= 0.0) return {};
  // Variance of a weighted least-squares estimate in white noise: σ²·Σw²c²/(Σw·c²)², c the column
  // [Kay, Estimation Theory (1993), section 8.4]. A sample at t = 0 has no part in the sums.
  const double sigma = std::sqrt(sums.residual / length);
  const double noise = sigma * std::sqrt(sums.twice_weighted_energy) / sums.weighted_energy;
  const double unexplained = std::sqrt(2.0) * sigma / std::abs(slope);
  return {sums.projection / sums.weighted_energy / (2.0 * pi), noise / (2.0 * pi), unexplained};
}

void ToneFitter::fit(std::span<const double> samples, double start_cycles_per_sample,
                     std::size_t orders, ToneFit& fit) {
  const std::size_t few = std::min(orders, frequency_fit_orders);
  const auto length = static_cast<double>(samples.size());
  double frequency = start_cycles_per_sample;
  fold(samples);
  for (int attempt = 0; attempt < most_frequency_steps; ++attempt) {
    fit_folded(frequency, few, fit);
    const FrequencyStep step = frequency_step(fit);
    frequency = std::clamp(frequency + step.change, 0.5 / length, 0.5 - 0.5 / length);
    const double settled =
        std::max(settled_cycles_per_block / length, settled_share_of_noise * step.noise);
    // What a Gauss-Newton step leaves is its own size times how far the model was from linear: the
    // phase it moved at the ends, and what the model does not explain [Nocedal and Wright,
    // Numerical Optimization (2006), section 10.3].
    const double phase_moved = pi * length * std::abs(step.change);
    if (std::abs(step.change) * (phase_moved + step.unexplained) < settled) break;
  }
  fit_folded(frequency, orders, fit);
}

void ToneFitter::residual(std::span<const double> samples, const ToneFit& fit,
                          std::span<double> residual) {
  set_length(samples.size());
  prepare_rotation(fit.cycles_per_sample);
  const std::size_t half = samples.size() / 2;
  if (samples.size() % 2 != 0) {
    double model = fit.dc;
    for (const auto& phasor : fit.phasor) model += phasor.real();
    residual[half] = samples[half] - model;
  }
  for (std::size_t first = 0; first < half; first += chunk_length) {
    const std::size_t count = start_chunk(first);
    evaluate(fit, count);
    const std::size_t ahead = samples.size() - half + first;
    const std::size_t back = half - 1 - first;
    unfold_difference(samples.data() + ahead, samples.data() + back, model_even_.data(),
                      model_odd_.data(), residual.data() + ahead, residual.data() + back, count);
  }
}

}  // namespace railtap::measure
