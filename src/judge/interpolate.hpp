// SPDX-License-Identifier: MIT
// Interpolation on a few measured points, without overshoot.
#pragma once

#include <functional>
#include <span>
#include <vector>

namespace railtap::judge {

/// Piecewise cubic through points, monotone where the points are: slopes by the weighted harmonic
/// mean of the neighbouring secants [Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984),
/// p. 300; from memory]. \param x rising strictly, two points or more; \param at is held within x
[[nodiscard]] double monotone_cubic(std::span<const double> x, std::span<const double> y,
                                    double at);

/// Where a function that is < 0 at `low` and >= 0 at `high` changes sign, to 1e-9 of the distance.
[[nodiscard]] double bisect(const std::function<double(double)>& f, double low, double high);

}  // namespace railtap::judge
