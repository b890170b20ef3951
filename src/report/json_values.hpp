// SPDX-License-Identifier: MIT
// How a number, or one that is not known, becomes a JSON value.
#pragma once

#include <cmath>
#include <nlohmann/json.hpp>
#include <optional>

namespace railtap::report {

/// Keys stay in the order in which they are written.
using Json = nlohmann::ordered_json;

/// The number, or null where it is not finite: a document has no NaN and no infinity.
[[nodiscard]] inline Json json_number(double value) {
  if (!std::isfinite(value)) return nullptr;
  return value;
}

/// A quantity's number in its own unit, or null.
template <class Q>
[[nodiscard]] Json json_number(const std::optional<Q>& quantity) {
  if (!quantity) return nullptr;
  return json_number(quantity->value());
}

}  // namespace railtap::report
