// SPDX-License-Identifier: MIT
// A careful look into a JSON document that somebody may have edited: what is missing or of another
// kind is absent, never an error, and every value knows where it stands.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace railtap::report {

/// A place in a document, which may be empty. The document outlives it.
class JsonView {
 public:
  JsonView() = default;
  explicit JsonView(const nlohmann::json& value, std::string pointer = "")
      : value_(&value), pointer_(std::move(pointer)) {}

  /// A member of an object, or an element of a list; an empty view where there is none.
  [[nodiscard]] JsonView operator[](const std::string& key) const;
  [[nodiscard]] JsonView operator[](std::size_t index) const;

  /// Whether there is something other than null.
  [[nodiscard]] bool known() const { return value_ != nullptr && !value_->is_null(); }
  [[nodiscard]] std::optional<double> number() const;
  [[nodiscard]] std::optional<bool> flag() const;
  /// The text; empty where there is none.
  [[nodiscard]] std::string text() const;
  /// The numbers of a list; an element that is none ends it, so that lists stay side by side.
  [[nodiscard]] std::vector<double> numbers() const;
  /// How many elements a list has; 0 for anything else.
  [[nodiscard]] std::size_t size() const;
  /// The elements of a list.
  [[nodiscard]] std::vector<JsonView> elements() const;
  /// The names of an object's members.
  [[nodiscard]] std::vector<std::string> keys() const;
  /// Where it stands in the document [RFC 6901].
  [[nodiscard]] const std::string& pointer() const { return pointer_; }

 private:
  const nlohmann::json* value_ = nullptr;
  std::string pointer_;
};

}  // namespace railtap::report
