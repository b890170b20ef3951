// SPDX-License-Identifier: MIT
// A quantity read from a JSON document that may not have it.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>

namespace railtap::system {

/// The number under a key, in the unit of `Q`; none where the key is missing or null.
/// \throws nlohmann::json::exception for what is no number
template <class Q>
[[nodiscard]] std::optional<Q> quantity_at(const nlohmann::ordered_json& json, const char* key) {
  const auto found = json.find(key);
  if (found == json.end() || found->is_null()) return std::nullopt;
  return Q(found->template get<double>());
}

}  // namespace railtap::system
