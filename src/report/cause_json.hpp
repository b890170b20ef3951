// SPDX-License-Identifier: MIT
// The cause of a fault as a JSON value, the same in every document.
#pragma once

#include <optional>

#include "judge/cause.hpp"
#include "system/json.hpp"

namespace railtap::report {

/// The object that docs/formats.md describes under `cause`, or null.
[[nodiscard]] inline system::Json cause_json(const std::optional<judge::Cause>& cause) {
  using system::Json;
  using system::json_number;
  if (!cause) return nullptr;
  return {{"kind", judge::name(cause->kind)},
          {"sentence", cause->sentence},
          {"remedy", cause->remedy},
          {"share_percent", json_number(cause->share)},
          {"frequency_hz", json_number(cause->frequency)},
          {"turn_down_db", json_number(cause->turn_down)},
          {"input_excluded", cause->input_excluded ? Json(*cause->input_excluded) : Json(nullptr)}};
}

}  // namespace railtap::report
