// SPDX-License-Identifier: MIT
// What the three criteria amount to: the highest clean step, the verdict, its reasons.
#pragma once

#include <optional>
#include <vector>

#include "judge/onset.hpp"
#include "judge/onset_criteria.hpp"

namespace railtap::judge {

/// Index of the loudest step that is clean and has not lost more than `limit_db` of its gain.
/// \param points by their axis; \param gain_db of vanishing input, where it is known
[[nodiscard]] std::optional<int> highest_clean(const std::vector<criteria::Point>& points,
                                               std::optional<double> gain_db, double limit_db);

/// Sets verdict and reasons of a channel whose criteria and highest clean step are known.
/// \param points one or more; \param overloaded whether louder steps were left out because the
/// recording input was at its limit
void conclude(ChannelOnset& onset, const std::vector<criteria::Point>& points, bool overloaded,
              const OnsetLimits& limits);

}  // namespace railtap::judge
