// SPDX-License-Identifier: MIT
// A TOML table that is read key by key, and that knows which of its keys nobody asked for.
#pragma once

#include <toml++/toml.h>

#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "units/error.hpp"

namespace railtap::rig {

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

  [[nodiscard]] std::optional<double> number(std::string_view key, Range range = {});
  /// \throws Error when the key is missing
  [[nodiscard]] double required_number(std::string_view key, Range range = {});
  [[nodiscard]] std::vector<double> numbers(std::string_view key, Range range = {});
  [[nodiscard]] std::optional<std::int64_t> integer(std::string_view key, Range range = {});
  [[nodiscard]] std::optional<bool> boolean(std::string_view key);
  [[nodiscard]] std::optional<std::string> text(std::string_view key);
  [[nodiscard]] std::string required_text(std::string_view key);
  [[nodiscard]] std::vector<std::string> texts(std::string_view key);
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
  void set(std::string_view key, bool& target) {
    if (const auto value = boolean(key)) target = *value;
  }

  /// \throws Error for the first key that was never read, with its line and the nearest known key
  void finish() const;

  [[nodiscard]] Error error(std::string_view key, const std::string& problem,
                            const std::string& remedy) const;

 private:
  const toml::node* find(std::string_view key);
  [[nodiscard]] std::string full(std::string_view key) const;
  [[nodiscard]] std::string nearest(std::string_view key) const;

  const toml::table* table_;
  std::string path_, place_, guide_;
  std::vector<std::string> known_;
};

}  // namespace railtap::rig
