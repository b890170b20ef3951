// SPDX-License-Identifier: MIT
// The tap's wiring as a picture.
#pragma once

#include <string>

#include "electric/attenuator.hpp"

namespace railtap::report {

/// A self-contained SVG of 720 × 300 units: terminals at the left, the recording input at the
/// right.
[[nodiscard]] std::string attenuator_svg(const electric::TapNeed& need, const electric::Tap& tap);

}  // namespace railtap::report
