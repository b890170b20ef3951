// SPDX-License-Identifier: MIT
// How far a stage is over its onset, and which way and how far to turn a control.
#pragma once

#include <algorithm>
#include <optional>
#include <string>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::judge {

// How far a tone is over its rails, both taken together.

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

/// Beyond this the slopes of a clipped sine take less than 3 % of the cycle (derived,
/// asin(1/10)/π): what is left of the sine says no more how high it would be, and a square wave
/// looks the same.
inline constexpr Decibels most_overdrive_told{20.0};

/// "0.70 dB"; "more than 20 dB" beyond what can be told.
[[nodiscard]] std::string overdrive_text(Decibels over);

// How far to turn a gain control whose scale is unknown: by what the last turns did.

/// A position that was tried, and what came of it.
struct Turn {
  double travel = 0.0;    ///< 0 … 1
  Decibels missing{0.0};  ///< how much is to go there: above zero, raise
};

/// Where to turn next: along the line through the last two turns (the secant method). Of the first
/// turn, and of turns that changed nothing, 25 dB over the whole travel are assumed (common
/// practice: inputs of a few hundred millivolts to a few volts). \param turns not empty \returns 0
/// … 1
[[nodiscard]] double next_travel(const std::vector<Turn>& turns);

}  // namespace railtap::judge
