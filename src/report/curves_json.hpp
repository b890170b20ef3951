// SPDX-License-Identifier: MIT
// The points of a channel's pictures as JSON: lists of the same length, side by side.
#pragma once

#include <optional>

#include "judge/curves.hpp"
#include "report/json_values.hpp"

namespace railtap::report {

/// Values have six digits, which is finer than any picture. What is not known is null.
[[nodiscard]] Json curves_json(const judge::Curves& curves,
                               const std::optional<Volts>& volts_per_full_scale);

}  // namespace railtap::report
