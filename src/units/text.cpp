// SPDX-License-Identifier: MIT
// Text as a shell takes it.
#include "units/text.hpp"

namespace railtap {

std::string shell_word(std::string_view text) {
  constexpr std::string_view plain =
      "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_./,-";
  if (!text.empty() && text.front() != '-' &&
      text.find_first_not_of(plain) == std::string_view::npos) {
    return std::string(text);
  }
  std::string word = "'";
  for (const char c : text) word += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return word + "'";
}

}  // namespace railtap
