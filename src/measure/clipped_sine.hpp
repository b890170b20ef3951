// SPDX-License-Identifier: MIT
// How far a sine is over each rail, found from its harmonics: the clipped-sine model fit, and the
// search for the model that explains them.
#pragma once

#include <array>
#include <optional>

#include "measure/clipped_sine_model.hpp"
#include "measure/tone_fit.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

// How far a sine is over each rail, found from its harmonics: the clipped-sine model fit.

/// What limits the fit and its claims. The defaults suit a capture at 44.1 kHz or more.
struct ClippedSineOptions {
  /// Orders above this are not used: an anti-alias filter falls from about here on.
  Hertz highest_frequency{20000.0};
  /// A rail below this overdrive is not called flat: it is 0.01 % of distortion, which the capture
  /// chain may add by itself.
  Decibels smallest_overdrive{0.01};
};

/// One rail of the fitted waveform. Where the harmonics do not call for a rail, all is as below.
struct RailOverdrive {
  /// The tops are flat: the rail is significant, the model explains the harmonics, there are enough
  /// of them, and the gain at the crest is below a tenth. If false, `overdrive` is no flat-topping:
  /// mere compression, or not to be distinguished from it.
  bool flat = false;
  /// Corner: 20·log10(A/c), how far the sine would exceed the rail. Knee: by how much the crest is
  /// lower than a straight law would make it, which is the same where the tops are flat.
  Decibels overdrive{0.0};
  Decibels uncertainty{0.0};  ///< standard uncertainty of `overdrive`
  double significance = 0.0;  ///< standard deviations of the rail's effect above the misfit
  Percent plateau{0.0};       ///< share of the cycle on the plateau, by the model
  double crest_slope = 1.0;   ///< gain for a small change at the crest, re the middle; 0 is flat
};

/// Which waveform was fitted.
enum class ClipModel {
  sine,            ///< no harmonics above the noise
  hard,            ///< a corner at each rail, behind a coupling capacitor
  hard_two_poles,  ///< the same behind two coupling capacitors
  hard_low_pass,   ///< a corner, then coupling, then a low-pass that rounds the plateau
  soft_knee,       ///< the gain falls to zero over a range of levels, then coupling
};

/// The clipped sine that explains the harmonics best.
struct ClippedSineFit {
  /// The model explains the harmonics, down to the noise or to a small part of their energy. If
  /// false, the waveform is no clipped sine, and neither rail is called flat.
  bool explained = false;
  /// There are harmonics enough to distinguish a flat top from mere compression. If false, the
  /// overdrives hold if it is a hard clip, which the harmonics do not show.
  bool decidable = false;
  ClipModel model = ClipModel::sine;
  RailOverdrive positive, negative;
  double amplitude_fs = 0.0;  ///< A, the peak the sine would have without the rails, full scales
  Hertz coupling{0.0};  ///< corner of the coupling (of two poles: the sum); 0 for a sine, where
                        ///< nothing shows it
  /// Width w of the knee: the gain falls as 1/(1 + (x/c)^(1/w)); 0 is a corner.
  double knee = 0.0;
  std::optional<Decibels>
      residual_re_harmonics;       ///< misfit beyond the noise over the harmonics' energy;
                                   ///< none where there are no harmonics above the noise
  double residual_re_noise = 0.0;  ///< RMS misfit in standard deviations of the noise: 1 is ideal
  int orders_used = 0;             ///< the highest order that took part
};

/// Fits a sine of amplitude A, cut at +c1 and −c2, behind a coupling jkf/(fc + jkf), to measured
/// harmonics.
///
/// Measures: the overdrive of either rail, 0.01 … 20 dB, with its standard uncertainty.
/// Does not: find what did it. A recording input that overloads gives the same waveform.
/// Method: Levenberg-Marquardt on A, phase, both rails and fc, weighted by the harmonics' sigma,
/// from the best points of a grid over both rails and fc, so that no local minimum is reported. A
/// richer model is tried only when the simpler one fails to explain the harmonics. \param tone
/// harmonics from order 1; sigma > 0 \returns for fewer than 3 usable orders: explained false,
/// decidable false
[[nodiscard]] ClippedSineFit fit_clipped_sine(const HarmonicSeries& tone,
                                              const ClippedSineOptions& options = {});

}  // namespace railtap::measure

// The search for the clipped sine that explains measured harmonics: starting points, models,
// choice.

namespace railtap::measure::clip {

/// A rail counts when its effect is this far above the misfit: 5 sigma, one-sided 3e-7.
inline constexpr double significant = 5.0;
/// A chi-squared this many of its standard deviations too large is a misfit: one in 30 000.
inline constexpr double misfit_limit = 4.0;

/// One model, fitted, with the rails that the harmonics do not call for taken away.
struct Outcome {
  ClipModel model = ClipModel::hard;
  Problem problem;
  Shape shape;
  Fit fit;
  std::array<double, 2> significance{};  ///< of the positive and the negative rail, in sigma
};

/// How many standard deviations a chi-squared lies above its expectation.
/// Source: Wilson and Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684 (from memory).
[[nodiscard]] double excess_of(double chi_squared, double degrees);

/// The misfit is the noise's.
[[nodiscard]] bool explains(const Fit& fit);

/// By how much the fit's variances must be scaled: 1 as long as the misfit is the noise's.
[[nodiscard]] double variance_scale(const Fit& fit);

/// Chi-squared per degree of freedom.
[[nodiscard]] double reduced_chi(const Fit& fit);

/// The simplest model that explains the harmonics down to the noise, or the best one that does not.
/// \param tone  at least two orders below highest_hz
[[nodiscard]] Outcome best_outcome(const HarmonicSeries& tone, double highest_hz);

}  // namespace railtap::measure::clip
