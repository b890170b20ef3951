// SPDX-License-Identifier: MIT
// The guided walk's judgement of wiring and filters, from the verification tracks.
#pragma once

#include <filesystem>
#include <optional>

#include "command/walk_checks.hpp"
#include "command/walk_state.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

/// Accepts a recording of the verification track without faults: every output carries its side,
/// plus is plus, no filter or boost is on, nothing hums. What could not be decided is told.
/// \throws Error with the faults
[[nodiscard]] Accepted check_wiring(const std::filesystem::path& file, const WalkChannel& channel,
                                    std::optional<Volts> volts_per_full_scale);

}  // namespace railtap::command
