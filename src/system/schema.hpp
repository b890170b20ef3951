// SPDX-License-Identifier: MIT
// The schema line of files that last, and what to say when it does not fit.
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

}  // namespace railtap::system
