// SPDX-License-Identifier: MIT
// What a line in a spectrum that is not the tone comes from.
#pragma once

#include <string>

#include "units/quantity.hpp"

namespace railtap::judge {

/// "hum" (a multiple of 50 or 60 Hz), "whine" (where an alternator's is), else "tone".
[[nodiscard]] std::string kind_of_line(Hertz frequency);

}  // namespace railtap::judge
