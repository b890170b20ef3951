// SPDX-License-Identifier: MIT
// Reading a TOML table with errors that name line and key.
#include "files/toml_table.hpp"

#include <algorithm>
#include <cmath>
#include <sstream>

#include "units/print.hpp"

namespace railtap::files {
namespace {

const toml::table nothing;

/// Levenshtein's distance: how many letters to insert, delete or replace.
std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) row[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t replaced = diagonal + (a[i - 1] == b[j - 1] ? 0 : 1);
      diagonal = row[j];
      row[j] = std::min({row[j] + 1, row[j - 1] + 1, replaced});
    }
  }
  return row[b.size()];
}

std::string in_words(double value) {
  std::ostringstream out;
  out.imbue(std::locale::classic());
  out << value;
  return out.str();
}

std::string in_words(Range range) {
  const bool has_low = std::isfinite(range.low);
  const std::string low = range.low == above_zero ? "more than 0" : in_words(range.low);
  if (!std::isfinite(range.high)) {
    return range.low == above_zero ? low : low + " or more";
  }
  if (!has_low) return in_words(range.high) + " or less";
  return low + (range.low == above_zero ? " and at most " : " to ") + in_words(range.high);
}

}  // namespace

toml::table parse_toml(std::string_view text, const std::string& place, const std::string& remedy) {
  try {
    return toml::parse(text, place);
  } catch (const toml::parse_error& error) {
    if (text.starts_with('{'))
      throw Error("is JSON, such as a record; a TOML file is wanted here", place,
                  "check which file was meant");
    throw Error("is not TOML: " + std::string(error.description()),
                place + ", line " + std::to_string(error.source().begin.line), remedy);
  }
}

TomlTable::TomlTable(const toml::table& table, std::string path, std::string place,
                     std::string guide)
    : table_(&table), path_(std::move(path)), place_(std::move(place)), guide_(std::move(guide)) {}

std::string TomlTable::full(std::string_view key) const {
  return path_.empty() ? std::string(key) : path_ + '.' + std::string(key);
}

Error TomlTable::error(std::string_view key, const std::string& problem,
                       const std::string& remedy) const {
  const toml::node* node = table_->get(key);
  const auto line = node != nullptr ? node->source().begin.line : table_->source().begin.line;
  const std::string where = line > 0 ? ", line " + std::to_string(line) : std::string();
  return {problem, place_ + where, remedy};
}

Error TomlTable::missing(std::string_view key) const {
  return error(key, full(key) + " is missing", "add it; " + guide_ + " says what it is");
}

void TomlTable::check_range(std::string_view key, const std::string& words, double value,
                            Range range) const {
  if (std::isfinite(value) && value >= range.low && value <= range.high) return;
  throw error(key, full(key) + " is " + words, "give " + in_words(range));
}

const toml::node* TomlTable::find(std::string_view key) {
  known_.emplace_back(key);
  return table_->get(key);
}

std::optional<double> TomlTable::number(std::string_view key, Range range) {
  const toml::node* node = find(key);
  if (node == nullptr) return {};
  const auto value = node->value<double>();
  if (!value || !node->is_number()) {
    throw error(key, full(key) + " is not a number",
                "write a number without a unit: the unit is in the key");
  }
  if (!std::isfinite(*value) || *value < range.low || *value > range.high) {
    throw error(key, full(key) + " is " + in_words(*value), "give " + in_words(range));
  }
  return value;
}

double TomlTable::required_number(std::string_view key, Range range) {
  if (const auto value = number(key, range)) return *value;
  throw missing(key);
}

std::vector<double> TomlTable::numbers(std::string_view key, Range range) {
  const toml::node* node = find(key);
  if (node == nullptr) return {};
  std::vector<double> result;
  const toml::array* array = node->as_array();
  for (std::size_t n = 0; array != nullptr && n < array->size(); ++n) {
    const auto value = array->get(n)->value<double>();
    if (value && std::isfinite(*value) && *value >= range.low && *value <= range.high)
      result.push_back(*value);
  }
  if (array == nullptr || result.size() != array->size()) {
    throw error(key, full(key) + " is not a list of numbers", "give " + in_words(range));
  }
  return result;
}

std::optional<std::int64_t> TomlTable::integer(std::string_view key, Range range) {
  const auto value = number(key, range);
  if (!value) return {};
  if (*value != std::floor(*value)) {
    throw error(key, full(key) + " is " + in_words(*value), "give a whole number");
  }
  return static_cast<std::int64_t>(*value);
}

std::optional<bool> TomlTable::boolean(std::string_view key) {
  const toml::node* node = find(key);
  if (node == nullptr) return {};
  if (!node->is_boolean())
    throw error(key, full(key) + " is neither true nor false", "write true or false");
  return node->value<bool>();
}

std::optional<std::string> TomlTable::text(std::string_view key) {
  const toml::node* node = find(key);
  if (node == nullptr) return {};
  if (!node->is_string()) throw error(key, full(key) + " is not text", "put it in quotes");
  return node->value<std::string>();
}

std::optional<std::string> TomlTable::text_with_unit(std::string_view key) {
  const toml::node* node = find(key);
  if (node == nullptr) return {};
  auto words = node->value_exact<std::string>();
  constexpr const char* numerals = "+-0123456789.eE ";
  if (words && words->find_first_not_of(numerals) != std::string::npos) return words;
  throw error(key, full(key) + " has no unit", "write it with its unit, in quotes, like \"55W\"");
}

std::string TomlTable::required_text(std::string_view key) {
  if (auto value = text(key); value && !value->empty()) return *value;
  throw missing(key);
}

std::vector<std::string> TomlTable::texts(std::string_view key) {
  const toml::node* node = find(key);
  if (node == nullptr) return {};
  std::vector<std::string> result;
  const toml::array* array = node->as_array();
  for (std::size_t n = 0; array != nullptr && n < array->size(); ++n) {
    if (const auto value = array->get(n)->value<std::string>()) result.push_back(*value);
  }
  if (array == nullptr || result.size() != array->size()) {
    throw error(key, full(key) + " is not a list of texts",
                "write [\"front left\", \"front right\"]");
  }
  return result;
}

TomlTable TomlTable::table(std::string_view key) {
  const toml::node* node = find(key);
  if (node == nullptr) return {nothing, full(key), place_, guide_};
  if (!node->is_table())
    throw error(key, full(key) + " is not a table", "write [" + full(key) + "] above its keys");
  return {*node->as_table(), full(key), place_, guide_};
}

std::vector<TomlTable> TomlTable::tables(std::string_view key) {
  const toml::node* node = find(key);
  std::vector<TomlTable> result;
  if (node == nullptr) return result;
  if (!node->is_array_of_tables()) {
    throw error(key, full(key) + " is not a list of tables",
                "write [[" + full(key) + "]] above each");
  }
  for (const toml::node& element : *node->as_array()) {
    result.emplace_back(*element.as_table(), full(key), place_, guide_);
  }
  return result;
}

std::string nearest_word(std::string_view word, const std::vector<std::string>& words) {
  std::string best;
  std::size_t best_distance = word.size();
  for (const std::string& known : words) {
    const std::size_t distance = edit_distance(word, known);
    if (distance < best_distance) {
      best = known;
      best_distance = distance;
    }
  }
  return best;
}

std::size_t TomlTable::choice(std::string_view key, const std::vector<std::string>& words) {
  const std::string word = text(key).value_or(words.front());
  const auto found = std::find(words.begin(), words.end(), word);
  if (found != words.end()) return static_cast<std::size_t>(found - words.begin());
  throw error(key, full(key) + " '" + word + "' is unknown", "give one of: " + listed(words));
}

void TomlTable::finish() const {
  for (const auto& [key, node] : *table_) {
    const std::string_view name = key;
    if (std::find(known_.begin(), known_.end(), name) != known_.end()) continue;
    const std::string guess = nearest_word(name, known_);
    throw error(name, "unknown key " + full(name),
                guess.empty() ? guide_ + " lists the keys" : "did you mean " + guess + "?");
  }
}

}  // namespace railtap::files
