// SPDX-License-Identifier: MIT
// A sound interface's own figures, for a person.
#pragma once

#include <string>

#include "electric/calibration.hpp"

namespace railtap::report {

/// What was found, and what follows from it.
[[nodiscard]] std::string loopback_report(const electric::SoundInterface& interface);

}  // namespace railtap::report
