// SPDX-License-Identifier: MIT
// The tap as a document for programs: schema railtap.attenuator/1.
#pragma once

#include <string>

#include "electric/attenuator.hpp"

namespace railtap::report {

/// What is not known, or not fitted, is null.
[[nodiscard]] std::string attenuator_json(const electric::TapNeed& need, const electric::Tap& tap);

}  // namespace railtap::report
