// SPDX-License-Identifier: MIT
// Text that anybody may have written, made safe for HTML and SVG.
#include "report/markup.hpp"

#include <algorithm>
#include <string>

#include "units/print.hpp"

namespace railtap::report {

namespace {

constexpr const char* replacement = "\xEF\xBF\xBD";  // U+FFFD

/// Control characters except tab and line ends; U+FFFE and U+FFFF.
bool forbidden(char32_t code) {
  const bool white = code == '\t' || code == '\n' || code == '\r';
  return (is_control(code) && !white) || code == 0xFFFEU || code == 0xFFFFU;
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
    const Character character = character_at(text, at);
    out += !character.well_formed || forbidden(character.code)
               ? replacement
               : escaped_character(text.substr(at, character.bytes));
    at += character.bytes;
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
