// SPDX-License-Identifier: MIT
// How far to turn a gain control whose scale is unknown: by what the last turns did.
#pragma once

#include <vector>

#include "units/quantity.hpp"

namespace railtap::judge {

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
