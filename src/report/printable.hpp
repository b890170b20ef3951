// SPDX-License-Identifier: MIT
// Text that came from a file, made safe for a terminal.
#pragma once

#include <string>
#include <string_view>

namespace railtap::report {

/// A file may come from anybody: what would command the terminal becomes spaces.
[[nodiscard]] std::string printable(std::string_view text);

}  // namespace railtap::report
