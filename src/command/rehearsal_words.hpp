// SPDX-License-Identifier: MIT
// What a person says to a virtual car: "turn the volume up 3", "gain front +2 dB", "++".
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "command/rehearsal.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

/// The volume, to a step or by some.
struct TurnVolume {
  bool by = false;
  int steps = 0;
};

/// A gain, by decibels or to a place of its travel.
struct TurnGain {
  std::optional<std::string> control;  ///< as it was named; none: the one at hand
  std::optional<Decibels> by;
  Percent to{0.0};
};

/// A fault to be mended; where, as it was named.
struct MendFault {
  FaultKind kind = FaultKind::swapped;
  std::string where;  ///< a control or an output; empty for what the car has once
};

using CarWords = std::variant<TurnVolume, TurnGain, MendFault>;

/// Reads what was typed. None where it is not meant for the car: an answer, or a file's name.
/// \throws Error where it is, and cannot be understood
[[nodiscard]] std::optional<CarWords> car_words(const std::string& typed);

/// What can be said, a line each.
[[nodiscard]] std::vector<std::string> car_words_help();

}  // namespace railtap::command
