// SPDX-License-Identifier: MIT
// JSON documents, as values, and the schema that each names: all that the rest knows of the JSON
// library.
#pragma once

#include <concepts>
#include <cstdint>
#include <initializer_list>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <nlohmann/json_fwd.hpp>

namespace railtap::system {

// JSON documents as values: built, handed on, looked into, and written as text at the very end.

/// A JSON value. The library's own type stays behind it, because reading its header in every file
/// that hands a document on takes minutes of compiling.
class Json {
 public:
  struct Member;

  /// Each makes the value of its kind. A number that is not finite is null: a document has no NaN
  /// and no infinity.
  Json();
  Json(std::nullptr_t);
  Json(double number);
  Json(const char* text);
  Json(std::string text);
  Json(const std::vector<std::string>& texts);
  template <std::same_as<bool> Flag>
  Json(Flag flag) : Json(of_flag(flag)) {}
  template <std::integral Number>
  requires(!std::same_as<Number, bool>) Json(Number number)
      : Json(of_integer(static_cast<std::int64_t>(number))) {}
  /// An object. Keys stay in the order in which they are written.
  Json(std::initializer_list<Member> members);
  explicit Json(nlohmann::ordered_json value);

  Json(const Json& other);
  Json(Json&& other) noexcept;
  Json& operator=(const Json& other);
  Json& operator=(Json&& other) noexcept;
  ~Json();

  [[nodiscard]] static Json object();
  [[nodiscard]] static Json array();
  [[nodiscard]] static Json array(const std::vector<double>& numbers);

  /// Sets a member; null becomes an object first. A key that is there keeps its place.
  void set(const std::string& key, Json value);
  /// Sets every member of another object.
  void update(const Json& other);
  /// Takes a member out, where it is there.
  void erase(const std::string& key);
  /// Adds an element; null becomes a list first.
  void push_back(Json element);

  [[nodiscard]] bool is_null() const;

  /// One line, without a line end. Names of files, devices and channels may hold bytes that are no
  /// UTF-8; these become U+FFFD.
  [[nodiscard]] std::string line() const;
  /// The same over several lines, the last one ended.
  [[nodiscard]] std::string page() const;

  /// The library's value, for who includes its header.
  [[nodiscard]] const nlohmann::ordered_json& value() const;

 private:
  static Json of_flag(bool flag);
  static Json of_integer(std::int64_t number);
  nlohmann::ordered_json& mutable_value();

  std::unique_ptr<nlohmann::ordered_json> value_;  // none: null
};

/// A member of an object.
struct Json::Member {
  const char* key;
  mutable Json value;  // an initializer list is const, and what is in it is moved out
};

/// A quantity's number in its own unit, or null.
[[nodiscard]] inline Json json_number(double value) {
  return value;
}
template <class Q>
[[nodiscard]] Json json_number(const std::optional<Q>& quantity) {
  if (!quantity) return nullptr;
  return quantity->value();
}

/// The number under a key of an object; none where the key is missing or null.
/// \throws nlohmann::json::exception for what is no number
[[nodiscard]] std::optional<double> number_at(const nlohmann::ordered_json& object,
                                              const char* key);
/// The same in the unit of `Q`.
template <class Q>
[[nodiscard]] std::optional<Q> quantity_at(const nlohmann::ordered_json& object, const char* key) {
  const auto number = number_at(object, key);
  return number ? std::optional(Q(*number)) : std::nullopt;
}

/// A careful look into a document that somebody may have edited: what is missing or of another kind
/// is absent, never an error, and every value knows where it is. A view may be empty. The document
/// outlives it.
class JsonView {
 public:
  JsonView() = default;
  explicit JsonView(const Json& document, std::string pointer = "");
  explicit JsonView(const Json&& document, std::string pointer = "") = delete;

  /// A member of an object, or an element of a list; an empty view where there is none.
  [[nodiscard]] JsonView operator[](const std::string& key) const;
  [[nodiscard]] JsonView operator[](std::size_t index) const;

  /// Whether there is something other than null.
  [[nodiscard]] bool known() const;
  [[nodiscard]] std::optional<double> number() const;
  /// A number that was written without a decimal point.
  [[nodiscard]] std::optional<std::int64_t> integer() const;
  [[nodiscard]] std::optional<bool> flag() const;
  /// The text; empty where there is none.
  [[nodiscard]] std::string text() const;
  /// The numbers of a list; an element that is none ends it, so that lists stay side by side.
  [[nodiscard]] std::vector<double> numbers() const;
  /// How many elements a list has; 0 for anything else.
  [[nodiscard]] std::size_t size() const;
  /// The elements of a list.
  [[nodiscard]] std::vector<JsonView> elements() const;
  [[nodiscard]] bool is_object() const;
  [[nodiscard]] bool is_list() const;
  /// Where it is in the document [RFC 6901].
  [[nodiscard]] const std::string& pointer() const { return pointer_; }

 private:
  JsonView(const nlohmann::ordered_json* value, std::string pointer)
      : value_(value), pointer_(std::move(pointer)) {}

  const nlohmann::ordered_json* value_ = nullptr;
  std::string pointer_;
};

// The schema line of files that last, and the time of day as they write it.

/// Checks a `schema` value such as "railtap.calibration/1".
/// \param found   what the file says; nothing where it says nothing
/// \param kind    "railtap.calibration"
/// \param newest  the newest version that this program reads
/// \param place   the file's name, for errors
/// \throws Error for a missing schema, another kind, or a newer version, which is never guessed at
void require_schema(const std::optional<std::string>& found, std::string_view kind, int newest,
                    const std::string& place);

/// Now, in UTC, to the second: "2026-11-25T16:10:00Z" [ISO 8601-1:2019, 5.4.2.1].
[[nodiscard]] std::string utc_now();

}  // namespace railtap::system
