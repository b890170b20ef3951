// SPDX-License-Identifier: MIT
// A tone fitted to a block of samples by least squares, and the Fourier series that comes out.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "measure/kernels.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// A periodic waveform as complex harmonics, in full scales (digital full scale = ±1):
///   x(t) = Re( Σ_k phasor[k−1] · e^{j·k·ω·t} ),  k = 1 … phasor.size(), without DC.
/// The time origin is where the fundamental crosses zero upwards, so phasor[0] = −j·A (a sine of
/// peak A), whatever the start of the record was. In this convention a sine clipped on its positive
/// rail has harmonics that do not depend on when the recording began.
struct HarmonicSeries {
  Hertz fundamental{0.0};
  std::vector<std::complex<double>> phasor;  ///< order k at index k−1, peak amplitude
  std::vector<double>
      sigma;  ///< standard deviation of the real part, and of the imaginary part, of each
              ///< phasor, from the noise measured around that frequency; same length
};

/// Whether two series are the same waveform at whatever level: each harmonic over the fundamental
/// within 0.3 % of itself, or within what the noise of both makes of it.
[[nodiscard]] bool is_same_waveform(const HarmonicSeries& a, const HarmonicSeries& b);

/// RMS over the mean of |x| of one cycle, DC excluded: π/(2√2) = 1.1107 for a sine, 1 for a square.
/// Computed from one cycle put together from the harmonics, at 16 points or more per cycle of the
/// highest. \param tone not empty, with a fundamental above zero; \throws Error otherwise
[[nodiscard]] double form_factor(const HarmonicSeries& tone);

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
  // The block folded about its middle: a cosine there is even and a sine odd, so each needs half
  // the samples. Element i belongs to ±t, with t = i + first_t.
  void set_length(std::size_t samples);
  void fold(std::span<const double> samples);
  void project(std::size_t orders);
  void solve(double cycles_per_sample, std::size_t orders, ToneFit& fit);
  void fit_folded(double cycles_per_sample, std::size_t orders, ToneFit& fit);
  void evaluate(const ToneFit& fit, std::size_t count);
  void prepare_rotation(double cycles_per_sample);
  std::size_t start_chunk(std::size_t first);

  struct FrequencyStep {
    double change = 0.0;       // cycles per sample
    double noise = 0.0;        // standard deviation that the residual, taken as white, leaves in it
    double unexplained = 0.0;  // RMS of the residual over that of the fundamental
  };
  [[nodiscard]] FrequencyStep frequency_step(const ToneFit& fit);

  std::size_t samples_ = 0;         // of the block
  double first_t_ = 0.5;            // 1 where there is a sample at t = 0 too
  double centre_ = 0.0;             // that sample
  std::vector<double> even_, odd_;  // x(t) + x(−t), x(t) − x(−t)

  std::vector<double> rotation_re_, rotation_im_;  // e^{jωm} for one chunk
  std::vector<double> base_re_, base_im_;          // e^{jωt} over the current chunk
  MultipleAngles angles_;
  std::vector<double> model_even_, model_odd_;  // half of even_ and odd_, as the fit has them
  std::vector<std::complex<double>> sums_;      // Σ x·e^{−jkωt}; [0] is Σ x
  std::vector<std::complex<double>> padded_;    // phasors, to whole groups
  std::vector<double> matrix_, rhs_;
  double cycles_per_sample_ = 0.0;
};

}  // namespace railtap::measure
