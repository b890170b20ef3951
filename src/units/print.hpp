// SPDX-License-Identifier: MIT
// From a quantity to what a person reads: "14.14 V", "350 mV", "4.7 kohm".
#pragma once

#include <string>

#include "units/quantity.hpp"

namespace railtap {

/// Whether zeros at the end of the digits are printed: they are kept on measured values ("14.10 V")
/// and trimmed on rated ones ("55 W").
enum class Zeros { trim, keep };

/// Whether a plus sign is printed in front of values above zero.
enum class Sign { minus_only, always };

/// The quantity with `significant` digits (1 … 17) and the SI prefix that suits it, for every
/// quantity of units/quantity.hpp and for Dbfs. What it writes, parse_quantity reads back. The
/// decimal sign is a point in every locale; a value that is not finite is printed as "unknown".
template <class Q>
[[nodiscard]] std::string format_quantity(Q quantity, int significant = 4,
                                          Zeros zeros = Zeros::trim);

/// The quantity without a prefix and with `decimals` (0 … 17) digits behind the point: "-5.00 dB".
template <class Q>
[[nodiscard]] std::string format_fixed(Q quantity, int decimals, Sign sign = Sign::minus_only);

}  // namespace railtap
