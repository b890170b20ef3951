// SPDX-License-Identifier: MIT
// One block of samples measured: the tone, its harmonics, and everything that is not the tone.
#pragma once

#include <complex>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "measure/moving_tone.hpp"
#include "measure/spectrum.hpp"
#include "measure/tone_fit.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// A sinusoid that is neither the fundamental nor one of its harmonics.
struct InterferenceLine {
  Hertz frequency{0.0};
  double mean_square = 0.0;  ///< full scales²
};

/// What a block holds. Powers are mean squares in full scales² (digital full scale = ±1; a
/// full-scale sine has 0.5), within the measuring band, DC excluded.
struct BlockMeasurement {
  std::size_t frames = 0;
  bool tone = false;  ///< one steady tone explains the block; else only dc, noise and lines hold
  double dc = 0.0;    ///< full scales
  double explained =
      0.0;  ///< share of the AC power that the fundamental and its harmonics explain, 0 … 1
  double start_phase = 0.0;  ///< of the fundamental, as a cosine, at the first sample, radians
  HarmonicSeries series;     ///< empty without a tone
  double fundamental = 0.0;
  double residual = 0.0;                ///< all but the fundamental
  double harmonics = 0.0;               ///< orders 2 and up
  double noise = 0.0;                   ///< all but fundamental, harmonics and lines
  double noise_a = 0.0;                 ///< the same, A-weighted
  double narrow_noise = 0.0;            ///< of the noise, what stands out in narrow bands
  Hertz narrow_frequency{0.0};          ///< where that is strongest; 0 is nowhere
  std::vector<InterferenceLine> lines;  ///< strongest first
};

/// Measures blocks of one channel. Keeps its working memory, so equal blocks allocate nothing but
/// the returned vectors. One object per thread.
class BlockMeter {
 public:
  /// \param rate samples per second, > 0
  explicit BlockMeter(Hertz rate, Band band = {});

  /// Shortest block that can be measured: 0.15 s, three cycles of a 20 Hz tone.
  [[nodiscard]] std::size_t shortest_block() const;

  /// Measures a block; what is measured, and how, is in docs/method.md, "A steady tone".
  /// What it does not do: judge, or notice that the level changes within the block.
  /// \param samples   full scale ±1, finite, at least shortest_block()
  /// \param near      a frequency to start from, where an earlier block has given one
  /// Accuracy: level 0.0001 dB, frequency at the Cramér-Rao bound; residual to −180 dB for 64-bit
  /// samples.
  [[nodiscard]] BlockMeasurement measure(std::span<const double> samples,
                                         std::optional<Hertz> near = {});

  /// The same for a block over which the level moves: fundamental and harmonics are those in the
  /// middle of the block, and the movement is no part of the residual. Foreign lines stay in the
  /// noise; harmonics above the 32nd as well.
  /// \param samples four cycles of the tone or more, with less the envelopes are simpler
  /// \param near the tone's frequency, within half a cycle over the block
  /// \param rise_db set to what the level rises from end to end
  [[nodiscard]] BlockMeasurement measure_moving(std::span<const double> samples, Hertz near,
                                                double& rise_db);
  /// What the fitted tone and its first 32 harmonics leave of the last measured block, sample by
  /// sample; of a block without a tone, the samples without their mean.
  [[nodiscard]] std::span<const double> time_residual() const { return residual_; }

 private:
  void look(std::span<const double> samples);
  [[nodiscard]] std::optional<double> coarse_frequency() const;
  void take_out_high_orders(BlockMeasurement& block, std::size_t samples);
  std::optional<std::complex<double>> take_out_order(std::size_t order, BlockMeasurement& block,
                                                     std::size_t samples);
  [[nodiscard]] double fitted_sigma(double bin, std::size_t samples) const;
  [[nodiscard]] bool in_band(double frequency_hz) const;
  void add_moving_orders(BlockMeasurement& block, const MovingTone& tone, std::size_t samples);
  void take_out_lines(BlockMeasurement& block);
  void add_up_noise(BlockMeasurement& block) const;
  void find_narrow_noise(BlockMeasurement& block) const;
  [[nodiscard]] std::span<double> bins_around(double bin) const;
  [[nodiscard]] double local_noise(double bin) const;
  [[nodiscard]] bool is_quieter(double bin, double limit) const;
  [[nodiscard]] std::size_t band_first_bin() const;
  [[nodiscard]] std::size_t band_last_bin() const;
  [[nodiscard]] double bin_hz() const;

  Hertz rate_;
  Band band_;
  Spectrum spectrum_;
  ToneFitter fitter_;
  ToneFit fit_;
  MovingToneFitter moving_fitter_;
  MovingTone moving_;
  std::vector<double> residual_;
  mutable std::vector<double> scratch_;
  std::vector<double> a_weights_;  // power weights of the bins of spectrum_
  // For the length of block before: a watched signal is measured in whole seconds and a rest.
  Spectrum other_spectrum_;
  std::vector<double> other_a_weights_;
};

}  // namespace railtap::measure
