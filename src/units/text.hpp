// SPDX-License-Identifier: MIT
// Small things with words that several readers and messages need.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace railtap {

/// The text without blanks, tabs and line ends at either end.
[[nodiscard]] std::string_view trimmed(std::string_view text);

/// "one, two, three"; empty for no words.
[[nodiscard]] std::string listed(const std::vector<std::string>& words);

}  // namespace railtap
