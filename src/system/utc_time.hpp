// SPDX-License-Identifier: MIT
// The time of day as the files that last write it.
#pragma once

#include <string>

namespace railtap::system {

/// Now, in UTC, to the second: "2026-11-25T16:10:00Z" [ISO 8601-1:2019, 5.4.2.1].
[[nodiscard]] std::string utc_now();

}  // namespace railtap::system
