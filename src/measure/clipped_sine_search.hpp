// SPDX-License-Identifier: MIT
// The search for the clipped sine that explains measured harmonics: starting points, models,
// choice.
#pragma once

#include <array>

#include "measure/clipped_sine.hpp"
#include "measure/clipped_sine_model.hpp"

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
