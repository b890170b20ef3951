// SPDX-License-Identifier: MIT
// The value in the middle: a mean that a few strays do not move.
#pragma once

#include <span>
#include <vector>

namespace railtap::measure {

/// The middle value, of an even number the higher of the two in the middle. \param values not empty
[[nodiscard]] double median(std::vector<double> values);

/// The same; leaves the values in another order.
[[nodiscard]] double median_reordering(std::span<double> values);

}  // namespace railtap::measure
