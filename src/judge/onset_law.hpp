// SPDX-License-Identifier: MIT
// The law of a stage from one of its steps, and what it says about softer ones.
#pragma once

#include <cstddef>
#include <functional>
#include <optional>

#include "judge/onset_points.hpp"
#include "measure/clipped_sine.hpp"
#include "measure/static_law.hpp"

namespace railtap::judge::criteria {

/// Whether a fit says that rails cut the sine with corners, so that they can be followed down.
[[nodiscard]] bool is_corner(const measure::ClippedSineFit& fit);

/// The law of a step; none where its harmonics are not those of a law without memory.
[[nodiscard]] std::optional<measure::StaticLaw> law_of(const Point& point);

/// The ratio in (low, 1) at which `excess` passes 0 from below; none where it does not.
[[nodiscard]] std::optional<double> crossing(const std::function<double(double)>& excess,
                                             double low);

/// Change of a function of the ratio for each decibel.
[[nodiscard]] double slope_per_db(const std::function<double(double)>& f, double ratio);

/// The ratio at which a law gives an output of `level` dBFS.
[[nodiscard]] std::optional<double> ratio_at(const measure::StaticLaw& law, std::size_t orders,
                                             double level);

/// Input and level of a law's step when its input is turned down to `ratio`.
[[nodiscard]] Estimate at_ratio(const measure::StaticLaw& law, const Point& above, double ratio);

/// Estimates of two steps that differ by more than this, dB, come from rails that move with the
/// level.
inline constexpr double drift_db = 0.01;

/// Joins the estimates of the lowest step over the limit and of the one above it. Where they drift,
/// the line through both is followed to where it meets itself.
/// \param distance_db from the first step to the second; \param over_db of the first step over its
/// own estimate
[[nodiscard]] Estimate join(const Estimate& first, const Estimate& second, double distance_db,
                            double over_db);

}  // namespace railtap::judge::criteria
