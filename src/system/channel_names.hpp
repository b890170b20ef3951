// SPDX-License-Identifier: MIT
// The names of a described system's channels, as entries of a record refer to them.
#pragma once

#include <string>
#include <vector>

#include "system/json.hpp"

namespace railtap::system {

/// The channels that a subject stands for, in the order of the description: those of a gain control
/// ("front": "front left", "front right"), or the one of that name. Empty where the system has
/// neither.
/// \param system as a record carries it; may be empty
[[nodiscard]] std::vector<std::string> channel_names(const JsonView& system,
                                                     const std::string& subject);

}  // namespace railtap::system
