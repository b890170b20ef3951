// SPDX-License-Identifier: MIT
// Text as a shell takes it.
#pragma once

#include <string>
#include <string_view>

namespace railtap {

/// One word of a POSIX shell, whatever it holds; in quotes only where it needs them
/// [POSIX.1-2017, Shell Command Language, 2.2.2].
[[nodiscard]] std::string shell_word(std::string_view text);

}  // namespace railtap
