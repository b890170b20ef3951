// SPDX-License-Identifier: MIT
// Least-squares fit of a fundamental, its harmonics and DC to a block of samples.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::measure {

/// A fitted tone, in full scales. The model is dc + Re(Σ_k phasor[k−1]·e^{j·k·ω·t}), with t = 0 in
/// the middle of the block; there the cosine and sine columns are orthogonal and the normal
/// equations split in two.
struct ToneFit {
  double cycles_per_sample = 0.0;  ///< fitted fundamental over the sampling rate, 0 … 0.5
  double dc = 0.0;
  std::vector<std::complex<double>> phasor;  ///< order k at index k−1, peak amplitude
};

/// Fits tones to blocks; keeps its working memory from block to block, so that a steady state
/// allocates nothing. One object per thread.
class ToneFitter {
 public:
  /// Fits dc and `orders` harmonics at a known frequency: linear least squares
  /// [IEEE Std 1057-2017, 4.6 three-parameter sine fit, extended by the harmonics].
  /// \param samples at least three cycles
  /// \param orders  >= 1, and orders·cycles_per_sample < 0.5
  void fit_known_frequency(std::span<const double> samples, double cycles_per_sample,
                           std::size_t orders, ToneFit& fit);

  /// The same with the frequency found, from a start within half a cycle over the length of the
  /// block: Gauss-Newton on the frequency [IEEE Std 1057-2017, 4.7 four-parameter sine fit],
  /// harmonics kept in the model so that a clipped tone does not pull it.
  void fit(std::span<const double> samples, double start_cycles_per_sample, std::size_t orders,
           ToneFit& fit);

  /// residual[n] = samples[n] − model; sizes equal.
  void residual(std::span<const double> samples, const ToneFit& fit, std::span<double> residual);

 private:
  void project(std::span<const double> samples, std::size_t orders);
  void solve(std::size_t samples, double cycles_per_sample, std::size_t orders, ToneFit& fit);
  void correlate_orders(const double* x, std::size_t count, std::size_t orders);
  void add_harmonics(std::span<const std::complex<double>> phasors, std::size_t count, double* out);
  void prepare_rotation(double cycles_per_sample);
  void start_chunk(std::size_t first, std::size_t samples, double cycles_per_sample);

  struct FrequencyStep {
    double change = 0.0;       // cycles per sample
    double noise = 0.0;        // standard deviation that the residual, taken as white, leaves in it
    double unexplained = 0.0;  // RMS of the residual over that of the fundamental
  };
  [[nodiscard]] FrequencyStep frequency_step(std::span<const double> samples, const ToneFit& fit);

  std::vector<double> rotation_re_, rotation_im_;  // e^{jωm} for one chunk
  std::vector<double> base_re_, base_im_;          // e^{jωt} over the current chunk
  std::vector<double> power_re_, power_im_;        // its k-th power
  std::vector<double> model_, slope_;
  std::vector<std::complex<double>> sums_;  // Σ x·e^{−jkωt}; [0] is Σ x
  std::vector<double> matrix_, rhs_;
  double cycles_per_sample_ = 0.0;
};

}  // namespace railtap::measure
