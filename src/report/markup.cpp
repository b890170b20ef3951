// SPDX-License-Identifier: MIT
// Text that anybody may have written, made safe for HTML and SVG.
#include "report/markup.hpp"

#include <algorithm>
#include <string>

#include "units/print.hpp"

namespace railtap::report {

namespace {

constexpr const char* replacement = "\xEF\xBF\xBD";  // U+FFFD

unsigned byte_at(std::string_view text, std::size_t at) {
  return at < text.size() ? static_cast<unsigned char>(text[at]) : 0U;
}

/// C0 and C1 control characters except tab and line ends; U+FFFE and U+FFFF.
bool forbidden(std::string_view character) {
  const unsigned first = byte_at(character, 0);
  const unsigned second = byte_at(character, 1);
  if (character.size() == 1) {
    const bool white = first == '\t' || first == '\n' || first == '\r';
    return (first < 0x20U && !white) || first == 0x7FU;
  }
  if (character.size() == 2) return first == 0xC2U && second < 0xA0U;
  return first == 0xEFU && second == 0xBFU && byte_at(character, 2) >= 0xBEU;
}

std::string escaped_character(std::string_view character) {
  if (character == "&") return "&amp;";
  if (character == "<") return "&lt;";
  if (character == ">") return "&gt;";
  if (character == "\"") return "&quot;";
  if (character == "'") return "&#39;";
  return std::string(character);
}

}  // namespace

std::string escaped(std::string_view text) {
  std::string out;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t length = character_length(text, at);
    const std::string_view character = text.substr(at, length);
    out += length == 0 || forbidden(character) ? replacement : escaped_character(character);
    at += length == 0 ? 1 : length;
  }
  return out;
}

std::string shortened(std::string_view text, std::size_t most) {
  std::size_t at = 0, last_fit = 0;
  for (std::size_t count = 0; at < text.size(); ++count) {
    if (count == most) return std::string(text.substr(0, last_fit)) + "\u2026";
    if (count + 1 < most) last_fit = at + std::max<std::size_t>(1, character_length(text, at));
    at += std::max<std::size_t>(1, character_length(text, at));
  }
  return std::string(text);
}

std::string isolated(std::string_view text) {
  return "<bdi>" + escaped(text) + "</bdi>";
}

}  // namespace railtap::report
