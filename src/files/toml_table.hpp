// SPDX-License-Identifier: MIT
// A TOML table that is read key by key, and that keeps which of its keys were not read.
#pragma once

#include <toml++/toml.h>

#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::files {

/// Bounds of a number, both included.
struct Range {
  double low = -std::numeric_limits<double>::infinity();
  double high = std::numeric_limits<double>::infinity();
};

/// More than nothing: the smallest positive number is a bound like any other.
inline constexpr double above_zero = std::numeric_limits<double>::min();

/// One table. Every reading function notes the key; `finish` throws for keys that were not read.
class TomlTable {
 public:
  /// \param place the file's name; errors add the line
  /// \param guide the document that lists the keys, for errors
  TomlTable(const toml::table& table, std::string path, std::string place,
            std::string guide = "docs/rig.md");

  /// Whether the key is there at all.
  [[nodiscard]] bool has(std::string_view key) const { return table_->contains(key); }

  /// These give none, or an empty list, where the key is missing.
  /// \throws Error with the line for a value of another kind, or a number out of `range`
  [[nodiscard]] std::optional<double> number(std::string_view key, Range range = {});
  /// \throws Error when the key is missing
  [[nodiscard]] double required_number(std::string_view key, Range range = {});
  [[nodiscard]] std::vector<double> numbers(std::string_view key, Range range = {});
  [[nodiscard]] std::optional<std::int64_t> integer(std::string_view key, Range range = {});
  [[nodiscard]] std::optional<bool> boolean(std::string_view key);
  [[nodiscard]] std::optional<std::string> text(std::string_view key);
  [[nodiscard]] std::string required_text(std::string_view key);
  [[nodiscard]] std::vector<std::string> texts(std::string_view key);
  /// Which of a few words the text is; the first where the key is missing.
  /// \throws Error for any other word
  [[nodiscard]] std::size_t choice(std::string_view key, const std::vector<std::string>& words);
  /// Text with a unit, such as "55W", as parse_quantity reads it; `range` is in the unit of `Q`. A
  /// number alone is refused: its unit would be unknown.
  template <class Q>
  [[nodiscard]] std::optional<Q> quantity(std::string_view key, Range range = {}) {
    const auto words = text_with_unit(key);
    if (!words) return {};
    try {
      const Q value = parse_quantity<Q>(*words, key);
      check_range(key, *words, value.value(), range);
      return value;
    } catch (const Error& mistake) {
      if (mistake.place() != key) throw;
      throw error(key, full(key) + ": " + mistake.problem(), mistake.remedy());
    }
  }
  template <class Q>
  [[nodiscard]] Q required_quantity(std::string_view key, Range range = {}) {
    if (const auto value = quantity<Q>(key, range)) return *value;
    throw missing(key);
  }

  /// A table within; an empty one where the key is missing.
  [[nodiscard]] TomlTable table(std::string_view key);
  [[nodiscard]] std::vector<TomlTable> tables(std::string_view key);

  /// Sets `target` where the key is there.
  template <class Q>
  void set(std::string_view key, Q& target, Range range = {}) {
    if (const auto value = number(key, range)) target = Q(*value);
  }
  template <class Q>
  void set(std::string_view key, std::optional<Q>& target, Range range = {}) {
    if (const auto value = number(key, range)) target = Q(*value);
  }
  /// The same for text with a unit.
  template <class Q>
  void set_quantity(std::string_view key, Q& target, Range range = {}) {
    if (const auto value = quantity<Q>(key, range)) target = *value;
  }
  void set(std::string_view key, bool& target) {
    if (const auto value = boolean(key)) target = *value;
  }

  /// \throws Error for the first key that was never read, with its line and the nearest known key
  void finish() const;

  /// An error about a key: its place is the file and the line, that of the table where the key is
  /// missing.
  [[nodiscard]] Error error(std::string_view key, const std::string& problem,
                            const std::string& remedy) const;
  [[nodiscard]] Error missing(std::string_view key) const;

  /// The key with the tables that it is in.
  [[nodiscard]] std::string full(std::string_view key) const;

 private:
  const toml::node* find(std::string_view key);
  std::optional<std::string> text_with_unit(std::string_view key);
  void check_range(std::string_view key, const std::string& words, double value, Range range) const;

  const toml::table* table_;
  std::string path_, place_, guide_;
  std::vector<std::string> known_;
};

/// A TOML document.
/// \param place the file's name; the error adds the line
/// \param remedy what to do about text that is not TOML
[[nodiscard]] toml::table parse_toml(std::string_view text, const std::string& place,
                                     const std::string& remedy);

/// Of the words, the one that differs least from `word`; empty where none has a letter in place.
[[nodiscard]] std::string nearest_word(std::string_view word,
                                       const std::vector<std::string>& words);

}  // namespace railtap::files
