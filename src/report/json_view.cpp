// SPDX-License-Identifier: MIT
// Looking into a JSON document.
#include "report/json_view.hpp"

#include <cmath>

namespace railtap::report {
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

JsonView JsonView::operator[](const std::string& key) const {
  if (value_ == nullptr || !value_->is_object()) return {};
  const auto found = value_->find(key);
  if (found == value_->end()) return {};
  return JsonView(*found, pointer_ + "/" + pointer_part(key));
}

JsonView JsonView::operator[](std::size_t index) const {
  if (index >= size()) return {};
  return JsonView((*value_)[index], pointer_ + "/" + std::to_string(index));
}

std::optional<double> JsonView::number() const {
  if (value_ == nullptr || !value_->is_number()) return std::nullopt;
  const double value = value_->get<double>();
  if (!std::isfinite(value)) return std::nullopt;
  return value;
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
    const nlohmann::json& element = (*value_)[i];
    if (!element.is_number()) break;
    out.push_back(element.get<double>());
  }
  return out;
}

std::size_t JsonView::size() const {
  return value_ != nullptr && value_->is_array() ? value_->size() : 0;
}

std::vector<JsonView> JsonView::elements() const {
  std::vector<JsonView> out;
  for (std::size_t i = 0; i < size(); ++i) out.push_back((*this)[i]);
  return out;
}

std::vector<std::string> JsonView::keys() const {
  std::vector<std::string> out;
  if (value_ == nullptr || !value_->is_object()) return out;
  for (const auto& item : value_->items()) out.push_back(item.key());
  return out;
}

}  // namespace railtap::report
