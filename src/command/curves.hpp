// SPDX-License-Identifier: MIT
// The points of a recording's pictures, read from its file a second time.
#pragma once

#include <filesystem>
#include <vector>

#include "command/recorded.hpp"
#include "judge/curves.hpp"

namespace railtap::command {

/// One for each channel of what was measured from this file. Throws Error where the file cannot be
/// read again, and Interrupted.
[[nodiscard]] std::vector<judge::Curves> curves_of_recording(const std::filesystem::path& path,
                                                             const Recorded& recorded,
                                                             const judge::Limits& limits);

}  // namespace railtap::command
