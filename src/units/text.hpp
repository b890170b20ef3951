// SPDX-License-Identifier: MIT
// Small things with words that several readers and messages need.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace railtap {

/// The text without blanks, tabs and line ends at either end.
[[nodiscard]] std::string_view trimmed(std::string_view text);

/// "one, two, three"; empty for no words.
[[nodiscard]] std::string listed(const std::vector<std::string>& words);

/// One word of a POSIX shell, whatever it holds; in quotes only where it needs them
/// [POSIX.1-2017, Shell Command Language, 2.2.2].
[[nodiscard]] std::string shell_word(std::string_view text);

/// Bytes of the well-formed UTF-8 character that begins at `at`, inside the text [Unicode 15, table
/// 3-7]; 0 where there is none.
[[nodiscard]] std::size_t character_length(std::string_view text, std::size_t at);

}  // namespace railtap
