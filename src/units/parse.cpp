// SPDX-License-Identifier: MIT
// From what a person typed, "4ohm" or "14.2 V", to a quantity; and the checks of its range.
#include "units/parse.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <optional>
#include <string>

#include "units/error.hpp"
#include "units/print.hpp"
#include "units/unit_table.hpp"

namespace railtap {
namespace {

using units::UnitInfo;

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}
// std::tolower would follow the locale.
char lower(char c) {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

std::string lowered(std::string_view text) {
  std::string result(text);
  std::transform(result.begin(), result.end(), result.begin(), lower);
  return result;
}

void replace_all(std::string& text, std::string_view from, std::string_view to) {
  for (auto at = text.find(from); at != std::string::npos; at = text.find(from, at + to.size())) {
    text.replace(at, from.size(), to);
  }
}

/// Typographic minus, micro and no-break space become the ASCII characters they stand for.
std::string plain_characters(std::string_view text) {
  std::string result(trimmed(text));
  replace_all(result, "\u2212", "-");
  replace_all(result, "\u00b5", "u");
  replace_all(result, "\u03bc", "u");
  replace_all(result, "\u00a0", " ");
  replace_all(result, "\u202f", " ");
  return result;
}

std::string quoted(std::string_view text) {
  return '"' + std::string(text) + '"';
}

/// A number with hundreds of digits is not repeated.
std::string repeated(std::string_view typed) {
  constexpr std::size_t most = 24;
  return typed.size() <= most ? quoted(typed) : "the number";
}

std::string remedy_for(const UnitInfo& unit) {
  return "write it like " + std::string(unit.example);
}

[[noreturn]] void fail(std::string problem, std::string_view name, const UnitInfo& unit) {
  throw Error(std::move(problem), std::string(name), remedy_for(unit));
}

/// The prefix that the letter stands for where `allowed` has it: k and K are the same, m and M are
/// not.
std::optional<char> prefix_from(char letter, std::string_view allowed) {
  const bool case_matters = letter == 'm' || letter == 'M';
  const char prefix = case_matters ? letter : lower(letter);
  if (allowed.find(prefix) == std::string_view::npos) return std::nullopt;
  return prefix;
}

bool is_spelling(std::string_view text, const UnitInfo& unit) {
  return std::find(unit.spellings.begin(), unit.spellings.end(), lowered(text)) !=
         unit.spellings.end();
}

/// The power of ten that `suffix` means in this unit; nothing where it is not this unit.
std::optional<int> exponent_of(std::string_view suffix, const UnitInfo& unit) {
  if (suffix.empty() || is_spelling(suffix, unit)) return 0;
  if (suffix.size() == 1) {
    const auto lone = prefix_from(suffix.front(), unit.lone_prefixes);
    return lone ? std::optional(units::prefix_exponent(*lone)) : std::nullopt;
  }
  const auto prefix = prefix_from(suffix.front(), unit.read_prefixes);
  if (!prefix || !is_spelling(trimmed(suffix.substr(1)), unit)) return std::nullopt;
  return units::prefix_exponent(*prefix);
}

/// Turns 4k7 into 4.7k and 4R7 into 4.7 where the unit takes two-part values [IEC 60062].
std::string with_point_for_letter(const std::string& text, const UnitInfo& unit) {
  const auto letter = text.find_first_not_of("+-0123456789");
  if (letter == std::string::npos || letter == 0 || letter + 1 >= text.size()) return text;
  if (!is_digit(text[letter - 1]) || !is_digit(text[letter + 1])) return text;
  const bool is_point = lower(text[letter]) == 'r' && is_spelling("r", unit);
  if (!is_point && !prefix_from(text[letter], unit.lone_prefixes)) return text;
  const auto end = text.find_first_not_of("0123456789", letter + 1);
  const std::string fraction = text.substr(letter + 1, end - letter - 1);
  const std::string rest = end == std::string::npos ? "" : text.substr(end);
  const std::string prefix = is_point ? "" : text.substr(letter, 1);
  return text.substr(0, letter) + "." + fraction + prefix + rest;
}

struct NumberAndSuffix {
  double number;
  std::string_view suffix;
};

/// What a double cannot hold: "1e999", "1e-999", or digits without end.
[[noreturn]] void fail_beyond(std::string_view typed, std::string_view name, const UnitInfo& unit) {
  fail(repeated(typed) + " is out of the range of numbers", name, unit);
}

NumberAndSuffix split_number(std::string_view text, std::string_view typed, std::string_view name,
                             const UnitInfo& unit) {
  if (text.empty()) fail("no value is given", name, unit);
  const char* const end = text.data() + text.size();
  const char* begin = text.data();
  if (*begin == '+' && text.size() > 1 && text[1] != '-') ++begin;  // from_chars takes no plus sign
  const char* digits = *begin == '-' ? begin + 1 : begin;
  // from_chars would also take "inf" and "nan".
  if (digits == end || !(is_digit(*digits) || *digits == '.')) {
    fail(quoted(typed) + " is not a number with a unit", name, unit);
  }
  double number = 0.0;
  const auto result = std::from_chars(begin, end, number);
  if (result.ec == std::errc::result_out_of_range) fail_beyond(typed, name, unit);
  if (result.ec != std::errc()) {
    fail(quoted(typed) + " is not a number with a unit", name, unit);
  }
  return {number,
          trimmed(std::string_view(result.ptr, static_cast<std::size_t>(end - result.ptr)))};
}

std::string without(std::string text, char mark) {
  text.erase(std::remove(text.begin(), text.end(), mark), text.end());
  return text;
}

/// A number with a comma in it. Of one comma with three digits behind it nobody can tell whether it
/// stands for the decimal point or between thousands.
[[noreturn]] void fail_comma(std::string_view typed, std::string_view name) {
  const std::string text(typed);
  const auto first = text.find_first_of("0123456789");
  const auto end = std::min(text.find_first_not_of("0123456789.,", first), text.size());
  const std::string figures = text.substr(first, end - first);
  const auto written = [&](const std::string& number) {
    return text.substr(0, first) + number + text.substr(end);
  };
  const auto comma = figures.find(','), point = figures.rfind('.');
  const std::string plain = without(figures, ',');
  std::string decimal = without(figures, '.');
  std::replace(decimal.begin(), decimal.end(), ',', '.');
  const bool point_before = point != std::string::npos && point < comma;
  const bool one = figures.find(',', comma + 1) == std::string::npos;
  if ((point != std::string::npos && !point_before) || !one) {
    throw Error(quoted(typed) + " has a comma between its digits", std::string(name),
                "write " + written(plain));
  }
  constexpr std::size_t group = 3;  // digits between two commas
  const bool may_be_thousands = !point_before && comma <= group && figures.front() != '0' &&
                                figures.size() == comma + 1 + group;
  if (may_be_thousands) {
    throw Error(quoted(typed) + " can be read in two ways", std::string(name),
                "write " + written(plain) + " or " + written(decimal) + ", whichever is meant");
  }
  throw Error(quoted(typed) + " has a comma for the decimal point", std::string(name),
              "write " + written(decimal));
}

[[noreturn]] void fail_unit(std::string_view suffix, std::string_view typed, std::string_view name,
                            const UnitInfo& wanted) {
  if (suffix.front() == ',' && suffix.size() > 1 && is_digit(suffix[1])) fail_comma(typed, name);
  if (is_digit(suffix.front())) {
    std::string closed(typed);
    closed.erase(std::remove(closed.begin(), closed.end(), ' '), closed.end());
    throw Error(quoted(typed) + " has a space between its digits", std::string(name),
                "write " + closed + ", if that is meant");
  }
  for (const UnitInfo& other : units::all_units()) {
    const bool names_a_unit = suffix.size() > 1 || is_spelling(suffix, other);
    if (&other != &wanted && names_a_unit && exponent_of(suffix, other)) {
      fail(quoted(typed) + " is in " + std::string(other.plural) + ", not in " +
               std::string(wanted.plural),
           name, wanted);
    }
  }
  fail(quoted(typed) + " ends in " + quoted(suffix) + ", which is no unit for " +
           std::string(wanted.plural),
       name, wanted);
}

[[noreturn]] void fail_large(std::string_view typed, std::string_view name, const UnitInfo& unit) {
  fail(repeated(typed) + " is too large for " + std::string(unit.plural), name, unit);
}

double parse_value(std::string_view typed, std::string_view name, const UnitInfo& unit) {
  const std::string text = with_point_for_letter(plain_characters(typed), unit);
  const auto [number, suffix] = split_number(text, trimmed(typed), name, unit);
  const auto exponent = exponent_of(suffix, unit);
  if (!exponent) fail_unit(suffix, trimmed(typed), name, unit);
  // Dividing by a power of ten is exact to the last bit where multiplying by its inverse is not:
  // 350/1000 is the double 0.35, 350·0.001 is not.
  const double scale = std::pow(10.0, std::abs(*exponent));
  const double value = *exponent < 0 ? number / scale : number * scale;
  if (!std::isfinite(value) || (value == 0.0 && number != 0.0)) {
    fail(quoted(trimmed(typed)) + " is out of the range of numbers", name, unit);
  }
  if (std::abs(value) > unit.largest) fail_large(trimmed(typed), name, unit);
  return value;
}

}  // namespace

template <class Q>
Q parse_quantity(std::string_view text, std::string_view name) {
  return Q(parse_value(text, name, units::unit_info<Q>()));
}

template <class Q>
Q require_positive(Q quantity, std::string_view name) {
  if (std::isfinite(quantity.value()) && quantity.value() > 0.0) return quantity;
  fail(format_quantity(quantity) + " is not more than zero", name, units::unit_info<Q>());
}

template <class Q>
Q require_not_negative(Q quantity, std::string_view name) {
  if (std::isfinite(quantity.value()) && quantity.value() >= 0.0) return quantity;
  fail(format_quantity(quantity) + " is negative", name, units::unit_info<Q>());
}

template <class Q>
Q require_within(Q quantity, Q low, Q high, std::string_view name) {
  if (std::isfinite(quantity.value()) && quantity >= low && quantity <= high) return quantity;
  throw Error(format_quantity(quantity) + " is out of range", std::string(name),
              "give a value from " + format_quantity(low) + " to " + format_quantity(high));
}

#define RAILTAP_INSTANTIATE(Q)                                      \
  template Q parse_quantity<Q>(std::string_view, std::string_view); \
  template Q require_positive<Q>(Q, std::string_view);              \
  template Q require_not_negative<Q>(Q, std::string_view);          \
  template Q require_within<Q>(Q, Q, Q, std::string_view);

RAILTAP_FOR_EACH_QUANTITY(RAILTAP_INSTANTIATE)
#undef RAILTAP_INSTANTIATE

}  // namespace railtap
