// SPDX-License-Identifier: MIT
// How far a channel is from its target, as a small picture.
#pragma once

#include <string>

#include "report/json_view.hpp"

namespace railtap::report {

/// How far the gauge reaches to either side of the target.
inline constexpr double gauge_reach_db = 1.0;

/// A mark at the target, the tolerance around it, a dot at what was reached and its error band.
/// Empty where either is not known.
[[nodiscard]] std::string gauge(const JsonView& target_v, const JsonView& reached_v,
                                const JsonView& tolerance_db, const JsonView& uncertainty_percent);

}  // namespace railtap::report
