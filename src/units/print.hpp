// SPDX-License-Identifier: MIT
// From a quantity to what a person reads ("14.14 V"), and small things with words.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

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

/// The text without blanks, tabs and line ends at either end.
[[nodiscard]] std::string_view trimmed(std::string_view text);

/// "one, two, three"; empty for no words.
[[nodiscard]] std::string listed(const std::vector<std::string>& words);

/// Bytes of the well-formed UTF-8 character that begins at `at`, inside the text [Unicode 15, table
/// 3-7]; 0 where there is none.
[[nodiscard]] std::size_t character_length(std::string_view text, std::size_t at);

/// One word of a POSIX shell, whatever it holds; in quotes only where it needs them
/// [POSIX.1-2017, Shell Command Language, 2.2.2].
[[nodiscard]] std::string shell_word(std::string_view text);

}  // namespace railtap
