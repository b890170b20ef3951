// SPDX-License-Identifier: MIT
// JSON documents, as values, and the schema that each names: all that the rest knows of the JSON
// library.
#include "system/json.hpp"

#include <charconv>
#include <chrono>
#include <cmath>
#include <ctime>

#include <nlohmann/json.hpp>

#include "units/error.hpp"

namespace railtap::system {

// JSON documents as values.

using Value = nlohmann::ordered_json;

// --- Json ----------------------------------------------------------------------------------------

Json::Json() = default;
Json::Json(std::nullptr_t) {}

Json::Json(Value value) {
  if (!value.is_null()) value_ = std::make_unique<Value>(std::move(value));
}

Json::Json(double number) : Json(std::isfinite(number) ? Value(number) : Value(nullptr)) {}
Json::Json(const char* text) : Json(Value(text)) {}
Json::Json(std::string text) : Json(Value(std::move(text))) {}
Json::Json(const std::vector<std::string>& texts) : Json(Value(texts)) {}

Json::Json(std::initializer_list<Member> members) : Json(object()) {
  for (const Member& member : members) set(member.key, std::move(member.value));
}

Json::Json(const Json& other) : Json(other.value()) {}
Json::Json(Json&& other) noexcept = default;
Json& Json::operator=(const Json& other) {
  *this = Json(other);
  return *this;
}
Json& Json::operator=(Json&& other) noexcept = default;
Json::~Json() = default;

Json Json::of_flag(bool flag) {
  return Json(Value(flag));
}

Json Json::of_integer(std::int64_t number) {
  return Json(Value(number));
}

Json Json::object() {
  return Json(Value::object());
}

Json Json::array() {
  return Json(Value::array());
}

Json Json::array(const std::vector<double>& numbers) {
  Value list = Value::array();
  for (const double number : numbers)
    list.push_back(std::isfinite(number) ? Value(number) : Value(nullptr));
  return Json(std::move(list));
}

Value& Json::mutable_value() {
  if (value_ == nullptr) value_ = std::make_unique<Value>();
  return *value_;
}

const Value& Json::value() const {
  static const Value null;
  return value_ == nullptr ? null : *value_;
}

void Json::set(const std::string& key, Json value) {
  Value& member = mutable_value()[key];
  if (value.value_ == nullptr) {
    member = nullptr;
  } else {
    member = std::move(*value.value_);
  }
}

void Json::update(const Json& other) {
  if (!other.is_null()) mutable_value().update(other.value());
}

void Json::erase(const std::string& key) {
  mutable_value().erase(key);
}

void Json::push_back(Json element) {
  mutable_value().push_back(element.value_ == nullptr ? Value() : std::move(*element.value_));
}

bool Json::is_null() const {
  return value_ == nullptr;
}

namespace {

/// DEL and C1, which JSON allows in a text as they are and a terminal obeys; outside of texts a
/// document has neither.
std::string escaped(std::string text) {
  constexpr const char* digits = "0123456789abcdef";
  for (std::size_t at = 0; at < text.size(); ++at) {
    const bool is_delete = text[at] == '\x7f';
    const bool is_c1 = text[at] == '\xC2' && at + 1 < text.size() && text[at + 1] < '\xA0';
    if (!is_delete && !is_c1) continue;
    const auto code = static_cast<unsigned char>(is_c1 ? text[at + 1] : text[at]);
    const std::string visible{'\\', 'u', '0', '0', digits[code >> 4U], digits[code & 15U]};
    text.replace(at, is_c1 ? 2 : 1, visible);
  }
  return text;
}

}  // namespace

std::string Json::line() const {
  return escaped(value().dump(-1, ' ', false, Value::error_handler_t::replace));
}

std::string Json::page() const {
  return escaped(value().dump(2, ' ', false, Value::error_handler_t::replace)) + "\n";
}

std::optional<double> number_at(const Value& object, const char* key) {
  const auto found = object.find(key);
  if (found == object.end() || found->is_null()) return std::nullopt;
  return found->get<double>();
}

// --- JsonView ------------------------------------------------------------------------------------

namespace {

// RFC 6901, section 3: "~" is written ~0, "/" is written ~1.
std::string pointer_part(const std::string& key) {
  std::string out;
  for (const char c : key) {
    if (c == '~') {
      out += "~0";
    } else if (c == '/') {
      out += "~1";
    } else {
      out += c;
    }
  }
  return out;
}

}  // namespace

JsonView::JsonView(const Json& document, std::string pointer)
    : JsonView(&document.value(), std::move(pointer)) {}

JsonView JsonView::operator[](const std::string& key) const {
  if (!is_object()) return {};
  const auto found = value_->find(key);
  if (found == value_->end()) return {};
  return {&*found, pointer_ + "/" + pointer_part(key)};
}

JsonView JsonView::operator[](std::size_t index) const {
  if (index >= size()) return {};
  return {&(*value_)[index], pointer_ + "/" + std::to_string(index)};
}

bool JsonView::known() const {
  return value_ != nullptr && !value_->is_null();
}

std::optional<double> JsonView::number() const {
  if (value_ == nullptr || !value_->is_number()) return std::nullopt;
  const double value = value_->get<double>();
  if (!std::isfinite(value)) return std::nullopt;
  return value;
}

std::optional<std::int64_t> JsonView::integer() const {
  if (value_ == nullptr || !value_->is_number_integer()) return std::nullopt;
  return value_->get<std::int64_t>();
}

std::optional<bool> JsonView::flag() const {
  if (value_ == nullptr || !value_->is_boolean()) return std::nullopt;
  return value_->get<bool>();
}

std::string JsonView::text() const {
  if (value_ == nullptr || !value_->is_string()) return "";
  return value_->get<std::string>();
}

std::vector<double> JsonView::numbers() const {
  std::vector<double> out;
  for (std::size_t i = 0; i < size(); ++i) {
    const Value& element = (*value_)[i];
    if (!element.is_number()) break;
    out.push_back(element.get<double>());
  }
  return out;
}

std::size_t JsonView::size() const {
  return is_list() ? value_->size() : 0;
}

std::vector<JsonView> JsonView::elements() const {
  std::vector<JsonView> out;
  for (std::size_t i = 0; i < size(); ++i) out.push_back((*this)[i]);
  return out;
}

bool JsonView::is_object() const {
  return value_ != nullptr && value_->is_object();
}

bool JsonView::is_list() const {
  return value_ != nullptr && value_->is_array();
}

// The schema line of files that last, the time that they write, and what to say when the line does
// not fit.

// --- schema --------------------------------------------------------------------------------------

namespace {

std::optional<int> version_in(std::string_view text) {
  int version = 0;
  const auto* const end = text.data() + text.size();
  const auto result = std::from_chars(text.data(), end, version);
  if (result.ec != std::errc() || result.ptr != end || version < 1) return std::nullopt;
  return version;
}

}  // namespace

void require_schema(const std::optional<std::string>& found, std::string_view kind, int newest,
                    const std::string& place) {
  const std::string wanted = std::string(kind) + "/" + std::to_string(newest);
  if (!found) {
    throw Error("the file does not say what it is", place,
                "its first line should be schema = \"" + wanted + "\"");
  }
  const auto slash = found->rfind('/');
  const bool is_kind = slash != std::string::npos && found->substr(0, slash) == kind;
  const auto version =
      is_kind ? version_in(std::string_view(*found).substr(slash + 1)) : std::nullopt;
  if (!version) {
    throw Error("the file is a \"" + *found + "\", not a \"" + wanted + "\"", place,
                "name a file of that kind");
  }
  if (*version > newest) {
    throw Error("the file is a \"" + *found +
                    "\", written by a newer railtap; this one reads up to \"" + wanted + "\"",
                place, "update railtap, or make the file again with this one");
  }
}

// --- time ----------------------------------------------------------------------------------------

std::string utc_now() {
  const std::time_t now = std::chrono::system_clock::to_time_t(std::chrono::system_clock::now());
  std::tm utc{};
  gmtime_r(&now, &utc);
  char text[sizeof "2000-01-01T00:00:00Z"];
  const auto length = std::strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &utc);
  return {text, length};
}

}  // namespace railtap::system
