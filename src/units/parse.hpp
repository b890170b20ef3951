// SPDX-License-Identifier: MIT
// From what a person typed, "4ohm" or "14.2 V", to a quantity; and the checks of its range.
#pragma once

#include <string_view>

#include "units/quantity.hpp"

namespace railtap {

/// Reads a number with its unit: 55W, 4 ohm, 4Ω, 4k7, 14.2V, 350mV, -5dB, 1kHz, 500ms, 16mm2, 1%,
/// 10uF.
///
/// A number alone has the unit of `Q` itself. Prefixes are p n u µ m c k M where the unit takes
/// them; case does not matter except between m and M. The unit may be left out behind k and M
/// (ohms, hertz) and behind p, n, u (farads), never behind m. Two-part resistor and capacitor
/// values (4k7, 4R7, 2u2) follow IEC 60062. The decimal sign is a point in every locale.
///
/// Defined for every quantity of units/quantity.hpp and for Dbfs, which also takes plain "dB".
///
/// \param text what was typed
/// \param name the option or key it was given for; becomes the error's place
/// \throws Error for empty text, no number, a wrong or unknown unit, trailing rubbish, or a number
/// that
///         a double can't hold
template <class Q>
[[nodiscard]] Q parse_quantity(std::string_view text, std::string_view name);

/// Returns `quantity` when it is finite and > 0. \throws Error naming `name` otherwise.
template <class Q>
Q require_positive(Q quantity, std::string_view name);

/// Returns `quantity` when it is finite and >= 0. \throws Error naming `name` otherwise.
template <class Q>
Q require_not_negative(Q quantity, std::string_view name);

/// Returns `quantity` when it is finite and low <= quantity <= high. \throws Error naming `name`
/// otherwise.
template <class Q>
Q require_within(Q quantity, Q low, Q high, std::string_view name);

}  // namespace railtap
