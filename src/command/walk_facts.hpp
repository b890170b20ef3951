// SPDX-License-Identifier: MIT
// What the guided walk asks about the vehicle, and need not ask because a system file describes it.
#pragma once

#include <string>
#include <vector>

#include "command/walk_state.hpp"
#include "system/system_description.hpp"

namespace railtap::command {

/// A description as the walk uses it.
struct Described {
  WalkFacts facts;                    ///< what is not described is left out
  std::string tap;                    ///< its parts in words; empty: not described
  std::vector<std::string> warnings;  ///< of the plan
  system::Json document;              ///< the file's keys and values
};

/// The gain controls with the plan's targets, the meter, and what the described tap should give.
/// Channels that share a control become one, with the lowest target among them; controls of several
/// amplifiers that have the same name get the amplifier's in front.
/// \throws Error for values that the targets' formulas refuse
[[nodiscard]] Described described(const system::SystemDescription& system);

}  // namespace railtap::command
