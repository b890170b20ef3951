// SPDX-License-Identifier: MIT
// The tap as a document, in words with its wiring drawn in letters, and as a picture.
#pragma once

#include <string>

#include "electric/attenuator.hpp"
#include "system/json.hpp"

namespace railtap::report {

/// What is not known, or not fitted, is null.
[[nodiscard]] system::Json attenuator_json(const electric::TapNeed& need, const electric::Tap& tap);

/// The wiring alone, as a drawing of letters.
[[nodiscard]] std::string attenuator_drawing(const electric::TapNeed& need,
                                             const electric::Tap& tap);

/// Parts, wiring, what it does, and the cautions that keep the amplifier whole.
[[nodiscard]] std::string attenuator_text(const electric::TapNeed& need, const electric::Tap& tap);

/// One sentence on a fault, with what to do.
[[nodiscard]] std::string fault_text(electric::TapFault fault);

/// A self-contained SVG of 720 × 300 units: terminals at the left, the recording input at the
/// right.
[[nodiscard]] std::string attenuator_svg(const electric::TapNeed& need, const electric::Tap& tap);

}  // namespace railtap::report
