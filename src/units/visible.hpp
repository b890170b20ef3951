// SPDX-License-Identifier: MIT
// Text that anybody may have written, with what would command a terminal made visible.
#pragma once

#include <string>
#include <string_view>

namespace railtap {

/// Whether line ends and tabs stay what they are.
enum class Lines { escape, keep };

/// The text with control characters (C0, DEL, C1) and bytes that are no UTF-8 shown as \x1b, what
/// turns the direction of writing as \u202e [Unicode 15, 23.1, 23.2].
[[nodiscard]] std::string visible(std::string_view text, Lines lines = Lines::escape);

}  // namespace railtap
