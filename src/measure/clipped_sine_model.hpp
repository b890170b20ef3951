// SPDX-License-Identifier: MIT
// The model behind the clipped-sine fit: a sine cut at two rails, AC-coupled, as a Fourier series
// with its derivatives.
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <initializer_list>
#include <span>

#include "measure/tone_fit.hpp"

namespace railtap::measure {

/// Fourier cosine coefficients of the piece that a rail cuts off a unit cosine.
///
/// The cut-off piece is e(ψ) = max(cos ψ − t, 0), with threshold t = c/A. Its coefficients, for t =
/// cos p:
///   E_n = (1/(π·n))·(S_{n−1} − S_{n+1}),  S_m = sin(m·p)/m,  S_0 = p.
/// The one-sided clipped sine is then cos ψ − e(ψ), and the rail on the other side adds (−1)^n·E_n.
/// Source: integrated by hand from E_n = (2/π)·∫₀ᵖ (cos ψ − cos p)·cos nψ dψ; equals
/// (2/π)·[sin(np)·cos p − n·cos(np)·sin p]/[n(n²−1)] for n ≥ 2, and (p − sin p·cos p)/π for n = 1.
///
/// The formula is odd in p, so an angle below 0 gives −E_n: not physical, but it lets a fit pass
/// through 0 without a corner.
///
/// \param angle   p, in radians, −π/2 … π/2
/// \param chord   receives S_n, n = 0 … size−1 (dE_n/dt = −(2/π)·S_n); same size as `excess` + 1
/// \param excess  receives E_n, n = 0 … size−1 (E_0 = (2/π)·(sin p − p·cos p), twice the mean)
void excess_series(double angle, std::span<double> chord, std::span<double> excess);

/// The same for a knee instead of a corner: the law's slope falls from 1 to 0 in a straight line
/// while the input goes from threshold `low` to threshold `high` (in units of the sine's
/// amplitude), so the law is a parabola between, and a soft knee is the mean of hard ones: E_n =
/// (F_n(low) − F_n(high))/(high − low) with F_n(t) = ∫_t^1 E_n dt' = (E_{n−1} − E_{n+1})/(2n).
/// Source: integrated by hand, term by term, from the series above.
struct KneeSeries {
  std::span<double> excess;   ///< E_n, n = 0 … size−1 (n = 0 is not computed and left 0)
  std::span<double> by_low;   ///< dE_n/d(low)
  std::span<double> by_high;  ///< dE_n/d(high)
};

/// \param low, high  thresholds, 0 < low < high; above 1 they are out of the sine's reach
/// \param scratch    at least 4·(out.excess.size() + 2) numbers
void knee_series(double low, double high, std::span<double> scratch, KneeSeries out);

}  // namespace railtap::measure

namespace railtap::measure::clip {

/// Orders beyond this are not used: the fit gains nothing from them and the work stays bounded.
inline constexpr std::size_t max_orders = 60;

/// The parameters of the model. Frequencies of the low-pass terms are in units of 10 kHz.
enum Parameter : std::size_t {
  amplitude,      ///< A in full scales
  phase,          ///< of the fundamental against the harmonics' time origin, radians
  rail_positive,  ///< corner: q = p³ with cos p = c/A (the harmonics are linear in q near 0); knee:
                  ///< the middle of the knee re A
  rail_negative,
  coupling,       ///< sum of the corners of the high-passes, Hz
  coupling_pair,  ///< product of the corners, Hz²
  low_pass,       ///< one pole, as (10 kHz / its corner)²
  dispersion,  ///< phase lag in radians per (10 kHz)³: what steeper low-passes do well below their
               ///< corner
  knee,        ///< width of the knee: how the gain falls, see KneeLaw
  parameter_count
};
/// One value for each Parameter, by its place in the enumeration.
using Parameters = std::array<double, parameter_count>;

/// The knee: the gain falls as 1/(1 + (x/m)^(1/w)), m the middle of the knee and w its width, which
/// is close to what transistors do. It is put together from straight falls between thresholds
/// m·e^(−w·h) and m·e^(+w·h): any symmetric single-peaked density is a mixture of boxes, and for
/// the logistic density ρ the half widths are distributed as −2h·ρ'(h). These are the nodes and
/// weights of its 4-point Gauss rule (computed by the Lanczos recurrence on a fine grid; the gain
/// is met within 0.02).
struct KneeLaw {
  static constexpr std::array<double, 4> half_width{1.23590429, 3.14095788, 6.24802967,
                                                    11.44244536};
  static constexpr std::array<double, 4> weight{0.35503969, 0.54864428, 0.09463352, 0.00168251};
};

/// What a knee does at the crest of a sine of amplitude 1.
struct Crest {
  double level;  ///< the output's peak
  double slope;  ///< the gain for a small change there
};
[[nodiscard]] Crest crest_of(double middle, double width);

/// Which parameters a fit may move, and whether the rails have a knee.
struct Shape {
  std::array<bool, parameter_count> free{};
  bool positive = true;  ///< the rail exists
  bool negative = true;
  bool with_knee = false;
};
[[nodiscard]] Shape shape_of(std::initializer_list<Parameter> free);

/// Measured harmonics, turned so that a clipped sine has real ones, with their weights.
struct Problem {
  std::size_t orders = 0;
  double fundamental_hz = 0.0;
  std::array<std::complex<double>, max_orders + 1> harmonic{};  ///< order k at k; j^k · phasor
  std::array<double, max_orders + 1> weight{};                  ///< 1/sigma
};

/// \param highest_hz  orders above are left out
[[nodiscard]] Problem problem_of(const HarmonicSeries& tone, double highest_hz);

/// A fit: where it ended, how well it does there and how sure it is.
struct Fit {
  Parameters at{};
  double chi_squared = 0.0;  ///< of the harmonics, without the priors
  double objective = 0.0;    ///< chi_squared with the priors
  double degrees = 0.0;      ///< data minus free parameters
  /// Covariance of the parameters; 0 for those that were held.
  std::array<std::array<double, parameter_count>, parameter_count> covariance{};
};

/// When a search may stop: after so many steps, or when a step gains less than this share.
struct Effort {
  int most_steps;
  double least_gain;
};
/// To compare starting points, and to see whether a parameter matters.
inline constexpr Effort rough{12, 1e-2};
inline constexpr Effort fair{25, 1e-4};
/// Far below a chi-squared's own scatter of sqrt(2·degrees).
inline constexpr Effort full{60, 1e-7};

/// Levenberg-Marquardt from a starting point.
[[nodiscard]] Fit minimise(const Problem& problem, const Shape& shape, const Parameters& start,
                           Effort effort = full);

/// Energy of the misfit at orders 2 and up, full scales squared, at a set of parameters.
[[nodiscard]] double misfit_energy(const Problem& problem, const Shape& shape,
                                   const Parameters& at);

/// Chi-squared of each order, order k at k: as measured, and what the model leaves.
struct ByOrder {
  std::array<double, max_orders + 1> measured{}, left{};
};
[[nodiscard]] ByOrder chi_squared_by_order(const Problem& problem, const Shape& shape,
                                           const Parameters& at);

}  // namespace railtap::measure::clip
