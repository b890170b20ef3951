// SPDX-License-Identifier: MIT
// From a quantity to what a person reads ("14.14 V"), and small things with words.
#include "units/print.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

#include "units/unit_table.hpp"
#include "units/visible.hpp"

namespace railtap {

namespace {

using units::UnitInfo;

constexpr int most_digits = 17;  // a double has no more
// Sign, 309 digits of the largest double, the point and 17 decimals fit.
using Buffer = std::array<char, 400>;

std::string to_text(double value, std::chars_format format, int precision) {
  Buffer buffer{};
  const auto result =
      std::to_chars(buffer.data(), buffer.data() + buffer.size(), value, format, precision);
  return std::string(buffer.data(), result.ptr);
}

/// A number rounded to some digits: 0.digits × 10^(exponent + 1).
struct Rounded {
  std::string digits;
  int exponent;
};

Rounded round_to(double magnitude, int significant) {
  const std::string text = to_text(magnitude, std::chars_format::scientific, significant - 1);
  const auto e = text.find('e');
  std::string digits = text.substr(0, e);
  digits.erase(std::remove(digits.begin(), digits.end(), '.'), digits.end());
  return {digits, std::stoi(text.substr(e + 1))};
}

/// The largest prefix that leaves at least one digit before the point, else the smallest there is.
char prefix_for(int exponent, std::string_view allowed) {
  char best = '\0';
  bool fits = exponent >= 0;
  for (const char candidate : allowed) {
    const int candidate_exponent = units::prefix_exponent(candidate);
    const int best_exponent = units::prefix_exponent(best);
    const bool candidate_fits = candidate_exponent <= exponent;
    const bool better = fits ? candidate_fits && candidate_exponent > best_exponent
                             : candidate_fits || candidate_exponent < best_exponent;
    if (!better) continue;
    best = candidate;
    fits = candidate_fits;
  }
  return best;
}

std::string place_point(const Rounded& rounded, int prefix_exponent, Zeros zeros) {
  const int before = rounded.exponent - prefix_exponent + 1;  // digits before the point
  std::string whole = "0";
  std::string fraction = rounded.digits;
  if (before > 0) {
    const auto split = static_cast<std::size_t>(before);
    whole = rounded.digits.substr(0, split);
    whole.resize(split, '0');
    fraction = split < rounded.digits.size() ? rounded.digits.substr(split) : "";
  } else {
    fraction.insert(0, static_cast<std::size_t>(-before), '0');
  }
  if (zeros == Zeros::trim) fraction.erase(fraction.find_last_not_of('0') + 1);
  return fraction.empty() ? whole : whole + "." + fraction;
}

/// Where zeros would fill lines: 1e+308 W.
constexpr int longest = 15;  // powers of ten that are written out

std::string format_power(double value, int significant, const UnitInfo& unit) {
  return to_text(value, std::chars_format::general, std::clamp(significant, 1, most_digits)) + " " +
         std::string(unit.symbol);
}

std::string format_value(double value, int significant, Zeros zeros, const UnitInfo& unit) {
  if (!std::isfinite(value)) return "unknown";
  if (value == 0.0) return "0 " + std::string(unit.symbol);
  const Rounded rounded = round_to(std::abs(value), std::clamp(significant, 1, most_digits));
  if (std::abs(rounded.exponent) > longest) return format_power(value, significant, unit);
  const char prefix = prefix_for(rounded.exponent, unit.print_prefixes);
  std::string text = value < 0.0 ? "-" : "";
  text += place_point(rounded, units::prefix_exponent(prefix), zeros) + " ";
  if (prefix != '\0') text += prefix;
  return text + std::string(unit.symbol);
}

constexpr double too_long = 1e16;  // 10^(longest + 1)

std::string format_fixed_value(double value, int decimals, Sign sign, const UnitInfo& unit) {
  if (!std::isfinite(value)) return "unknown";
  if (std::abs(value) >= too_long) return format_power(value, 4, unit);
  std::string text = to_text(value, std::chars_format::fixed, std::clamp(decimals, 0, most_digits));
  const bool is_zero = text.find_first_of("123456789") == std::string::npos;
  if (is_zero && text.front() == '-') text.erase(0, 1);  // "-0.00" says nothing
  if (sign == Sign::always && value > 0.0 && !is_zero) text.insert(0, "+");
  return text + " " + std::string(unit.symbol);
}

}  // namespace

template <class Q>
std::string format_quantity(Q quantity, int significant, Zeros zeros) {
  return format_value(quantity.value(), significant, zeros, units::unit_info<Q>());
}

template <class Q>
std::string format_fixed(Q quantity, int decimals, Sign sign) {
  return format_fixed_value(quantity.value(), decimals, sign, units::unit_info<Q>());
}

#define RAILTAP_INSTANTIATE(Q)                            \
  template std::string format_quantity<Q>(Q, int, Zeros); \
  template std::string format_fixed<Q>(Q, int, Sign);

RAILTAP_FOR_EACH_QUANTITY(RAILTAP_INSTANTIATE)
#undef RAILTAP_INSTANTIATE

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

namespace {

std::string in_hexadecimal(const char* introduction, char32_t code, int digits) {
  constexpr const char* figures = "0123456789abcdef";
  std::string text = introduction;
  for (int shift = 4 * (digits - 1); shift >= 0; shift -= 4) text += figures[(code >> shift) & 15U];
  return text;
}

std::string visible_character(std::string_view bytes, const Character& character, Lines lines) {
  const char32_t code = character.code;
  if (!character.well_formed) return in_hexadecimal("\\x", byte_at(bytes, 0), 2);
  const bool line = lines == Lines::keep && (code == '\n' || code == '\t');
  if (is_control(code) && !line) return in_hexadecimal("\\x", code, 2);
  return turns_direction(code) ? in_hexadecimal("\\u", code, 4) : std::string(bytes);
}

}  // namespace

Character character_at(std::string_view text, std::size_t at) {
  constexpr unsigned first_bits[] = {0x7FU, 0x1FU, 0x0FU, 0x07U};
  const std::size_t length = character_length(text, at);
  if (length == 0) return {};
  char32_t code = byte_at(text, at) & first_bits[length - 1];
  for (std::size_t i = 1; i < length; ++i) code = (code << 6U) | (byte_at(text, at + i) & 0x3FU);
  return {code, length, true};
}

bool is_control(char32_t code) {
  return code < 0x20U || (code >= 0x7FU && code < 0xA0U);
}

bool turns_direction(char32_t code) {
  return code == 0x061CU || code == 0x200EU || code == 0x200FU || code == 0x2028U ||
         code == 0x2029U || (code >= 0x202AU && code <= 0x202EU) ||
         (code >= 0x2066U && code <= 0x2069U);
}

std::string visible(std::string_view text, Lines lines) {
  std::string result;
  for (std::size_t at = 0; at < text.size();) {
    const Character character = character_at(text, at);
    result += visible_character(text.substr(at, character.bytes), character, lines);
    at += character.bytes;
  }
  return result;
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

}  // namespace railtap
