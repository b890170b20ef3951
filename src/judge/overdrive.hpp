// SPDX-License-Identifier: MIT
// How far a tone is over its rails, both taken together.
#pragma once

#include <algorithm>
#include <optional>

#include "units/quantity.hpp"

namespace railtap::judge {

/// The larger overdrive of two rails; none where neither is flat: what is absent is the least.
[[nodiscard]] inline std::optional<Decibels> larger_overdrive(
    const std::optional<Decibels>& positive, const std::optional<Decibels>& negative) {
  return std::max(positive, negative);
}

/// The same of what has both, as FlatTop and OnsetStep have.
template <typename Rails>
[[nodiscard]] std::optional<Decibels> larger_overdrive(const Rails& rails) {
  return larger_overdrive(rails.overdrive_positive, rails.overdrive_negative);
}

}  // namespace railtap::judge
