// SPDX-License-Identifier: MIT
// Small things with words that several readers and messages need.
#include "units/text.hpp"

namespace railtap {
namespace {

unsigned byte_at(std::string_view text, std::size_t at) {
  return at < text.size() ? static_cast<unsigned char>(text[at]) : 0U;
}

}  // namespace

std::string_view trimmed(std::string_view text) {
  constexpr std::string_view blanks = " \t\r\n\v\f";
  const auto first = text.find_first_not_of(blanks);
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(blanks) - first + 1);
}

std::string listed(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& word : words) text += (text.empty() ? "" : ", ") + word;
  return text;
}

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

std::size_t character_length(std::string_view text, std::size_t at) {
  const unsigned first = byte_at(text, at);
  if (first < 0x80U) return 1;
  const std::size_t length = first >= 0xF0U ? 4 : (first >= 0xE0U ? 3 : 2);
  if (first < 0xC2U || first > 0xF4U) return 0;
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte_at(text, at + i) & 0xC0U) != 0x80U) return 0;
  }
  const unsigned second = byte_at(text, at + 1);
  const bool overlong = (first == 0xE0U && second < 0xA0U) || (first == 0xF0U && second < 0x90U);
  const bool beyond = (first == 0xEDU && second > 0x9FU) || (first == 0xF4U && second > 0x8FU);
  return overlong || beyond ? 0 : length;
}

}  // namespace railtap
