// SPDX-License-Identifier: MIT
// The tap in words, with its wiring drawn in letters.
#pragma once

#include <string>

#include "electric/attenuator.hpp"

namespace railtap::report {

/// The wiring alone, as a drawing of letters.
[[nodiscard]] std::string attenuator_drawing(const electric::TapNeed& need,
                                             const electric::Tap& tap);

/// Parts, wiring, what it does, and the cautions that keep the amplifier whole.
[[nodiscard]] std::string attenuator_text(const electric::TapNeed& need, const electric::Tap& tap);

/// One sentence on a fault, with what to do.
[[nodiscard]] std::string fault_text(electric::TapFault fault);

}  // namespace railtap::report
