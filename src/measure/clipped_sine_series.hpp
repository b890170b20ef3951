// SPDX-License-Identifier: MIT
// The Fourier series of what a limiter takes off a sine, in closed form: the arithmetic under the
// model fit.
#pragma once

#include <span>

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
