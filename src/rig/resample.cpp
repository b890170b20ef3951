// SPDX-License-Identifier: MIT
// Windowed-sinc filters and the loops that run them.
#include "rig/resample.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::rig {
namespace {

/// Modified Bessel function of the first kind, order 0, by its series.
double bessel_i0(double x) {
  double term = 1.0;
  double sum = 1.0;
  for (int k = 1; term > sum * 1e-17; ++k) {
    term *= (x / (2.0 * k)) * (x / (2.0 * k));
    sum += term;
  }
  return sum;
}

double sinc(double x) {
  return x == 0.0 ? 1.0 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x);
}

/// Filters a block: one dot product per output sample, of every phase in turn.
RAILTAP_VECTORIZE void filter_block(const double* history, const double* phases, std::size_t taps,
                                    std::size_t phase_count, std::size_t step,
                                    std::span<double> output) {
  for (std::size_t n = 0; n < output.size(); ++n) {
    const double* x = history + (n / phase_count) * step;
    const double* h = phases + (n % phase_count) * taps;
    double sum = 0.0;
#pragma omp simd reduction(+ : sum)
    for (std::size_t k = 0; k < taps; ++k) sum += x[k] * h[k];
    output[n] = sum;
  }
}

/// Appends a block behind the history.
void append(std::vector<double>& history, std::size_t kept, std::span<const double> block) {
  history.resize(kept + block.size());
  std::copy(block.begin(), block.end(), history.begin() + static_cast<std::ptrdiff_t>(kept));
}

/// Moves the last `kept` samples to the front.
void keep_last(std::vector<double>& history, std::size_t kept) {
  std::copy(history.end() - static_cast<std::ptrdiff_t>(kept), history.end(), history.begin());
}

}  // namespace

std::vector<double> low_pass_taps(double pass, double stop, Decibels rejection) {
  const double beta = 0.1102 * (rejection.value() - 8.7);
  const double order = (rejection.value() - 8.0) / (2.285 * 2.0 * std::numbers::pi * (stop - pass));
  const int half = static_cast<int>(std::ceil(order / 2.0));
  const double cutoff = pass + stop;  // twice the middle of the transition band
  std::vector<double> taps;
  double sum = 0.0;
  for (int n = -half; n <= half; ++n) {
    const double ratio = static_cast<double>(n) / (half + 1);
    const double window = bessel_i0(beta * std::sqrt(1.0 - ratio * ratio)) / bessel_i0(beta);
    taps.push_back(cutoff * sinc(cutoff * n) * window);
    sum += taps.back();
  }
  for (double& tap : taps) tap /= sum;
  return taps;
}

Interpolator::Interpolator(int factor, double pass) : factor_(factor) {
  const std::vector<double> taps = low_pass_taps(pass, 1.0 / factor - pass, resampler_rejection);
  taps_ = taps.size();
  const auto phases = static_cast<std::size_t>(factor);
  phase_taps_ = (taps_ + phases - 1) / phases;
  phases_.assign(phases * phase_taps_, 0.0);
  for (std::size_t n = 0; n < taps_; ++n) {
    const std::size_t reversed = phase_taps_ - 1 - n / phases;
    phases_[(n % phases) * phase_taps_ + reversed] = taps[n] * factor;
  }
  history_.assign(phase_taps_ - 1, 0.0);
}

double Interpolator::delay() const {
  return static_cast<double>(taps_ - 1) / 2.0;
}

void Interpolator::process(std::span<const double> input, std::span<double> output) {
  append(history_, phase_taps_ - 1, input);
  filter_block(history_.data(), phases_.data(), phase_taps_, static_cast<std::size_t>(factor_), 1,
               output);
  keep_last(history_, phase_taps_ - 1);
}

Decimator::Decimator(int factor, double pass)
    : factor_(factor), taps_(low_pass_taps(pass, 1.0 / factor - pass, resampler_rejection)) {
  history_.assign(taps_.size() - 1, 0.0);
}

double Decimator::delay() const {
  return static_cast<double>(taps_.size() - 1) / 2.0;
}

void Decimator::process(std::span<const double> input, std::span<double> output) {
  append(history_, taps_.size() - 1, input);
  filter_block(history_.data(), taps_.data(), taps_.size(), 1, static_cast<std::size_t>(factor_),
               output);
  keep_last(history_, taps_.size() - 1);
}

std::array<double, Lagrange::points> lagrange_weights(double fraction) {
  std::array<double, Lagrange::points> weights;
  const double x = fraction + static_cast<double>(Lagrange::points_before);
  for (std::size_t i = 0; i < weights.size(); ++i) {
    weights[i] = 1.0;
    for (std::size_t j = 0; j < weights.size(); ++j) {
      if (j == i) continue;
      weights[i] *=
          (x - static_cast<double>(j)) / (static_cast<double>(i) - static_cast<double>(j));
    }
  }
  return weights;
}

namespace {
constexpr std::size_t lagrange_places = 1024;
}

Lagrange::Lagrange() {
  for (std::size_t place = 0; place <= lagrange_places + 1; ++place) {
    const auto weights = lagrange_weights(static_cast<double>(place) / lagrange_places);
    weights_.insert(weights_.end(), weights.begin(), weights.end());
  }
}

Lagrange::Pair Lagrange::at(const double* left, const double* right, double fraction) const {
  const double place = fraction * lagrange_places;
  const auto whole = static_cast<std::size_t>(place);
  const double rest = place - static_cast<double>(whole);
  const double* near = &weights_[whole * points];
  const double* far = near + points;
  Pair sum{0.0, 0.0};
  for (std::size_t k = 0; k < points; ++k) {
    const double weight = near[k] + rest * (far[k] - near[k]);
    sum.left += weight * left[k];
    sum.right += weight * right[k];
  }
  return sum;
}

}  // namespace railtap::rig
