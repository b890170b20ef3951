// SPDX-License-Identifier: MIT
// The schema line of files that last, and the time of day as they write it.
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace railtap::system {

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
