// SPDX-License-Identifier: MIT
// Words, states and figures as all documents have them; text made fit for markup.
#include "report/words.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <string>

#include "judge/turning.hpp"
#include "units/print.hpp"
#include "units/visible.hpp"

namespace railtap::report {

// Numbers of documents in words.

namespace {

constexpr const char* unknown = "not measured";

/// The shortest text that reads back as the same number.
std::string shortest(double value) {
  std::array<char, 64> buffer{};
  const auto end = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value);
  return std::string(buffer.data(), end.ptr);
}

template <class Format>
Shown shown(const JsonView& place, Format format) {
  const auto value = place.number();
  if (!value) return {unknown, "", place.pointer(), false};
  return {format(*value), shortest(*value), place.pointer(), true};
}

template <class Q>
Shown measured(const JsonView& place) {
  return shown(place, [](double value) { return format_quantity(Q(value), 4, Zeros::keep); });
}

template <class Q>
Shown rated(const JsonView& place) {
  return shown(place, [](double value) { return format_quantity(Q(value), 4); });
}

}  // namespace

Shown volts(const JsonView& place) {
  return measured<Volts>(place);
}
Shown watts(const JsonView& place) {
  return rated<Watts>(place);
}
Shown ohms(const JsonView& place) {
  return rated<Ohms>(place);
}
Shown hertz(const JsonView& place) {
  return rated<Hertz>(place);
}
Shown decibels(const JsonView& place) {
  return shown(place, [](double value) { return format_fixed(Decibels(value), 2); });
}
Shown overdrive(const JsonView& place) {
  return shown(place, [](double value) { return judge::overdrive_text(Decibels(value)); });
}
Shown fine_decibels(const JsonView& place) {
  return shown(place, [](double value) { return format_fixed(Decibels(value), 3); });
}
Shown signed_decibels(const JsonView& place) {
  return shown(place, [](double value) { return format_fixed(Decibels(value), 2, Sign::always); });
}
Shown dbfs(const JsonView& place) {
  return shown(place, [](double value) { return format_fixed(Dbfs(value), 1); });
}
Shown percent(const JsonView& place) {
  return shown(place, [](double value) { return format_quantity(Percent(value), 2); });
}
Shown travel(const JsonView& place) {
  return shown(place, [](double value) { return format_quantity(Percent(value), 3); });
}
Shown plain(const JsonView& place) {
  return shown(place, shortest);
}

std::string marked(const Shown& number) {
  if (!number.known) return "<span class=\"unknown\">" + escaped(number.shown) + "</span>";
  return "<data value=\"" + escaped(number.value) + "\" data-from=\"" + escaped(number.pointer) +
         "\">" + escaped(number.shown) + "</data>";
}

std::string channel_heading(const std::string& name, int number) {
  return name.empty() ? "Channel " + std::to_string(number) : visible(name);
}

system::Json name_json(const std::string& name) {
  return name.empty() ? system::Json(nullptr) : system::Json(name);
}

// Text that anybody may have written, made safe for HTML and SVG.

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
