// SPDX-License-Identifier: MIT
// Text that anybody may have written, with what would command a terminal made visible.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace railtap {

/// A character of a text. A byte that belongs to none is not well-formed [Unicode 15, table 3-7].
struct Character {
  char32_t code = U'\uFFFD';
  std::size_t bytes = 1;
  bool well_formed = false;
};

/// The character that begins at `at`, inside the text.
[[nodiscard]] Character character_at(std::string_view text, std::size_t at);

/// C0, DEL and C1 [Unicode 15, 23.1].
[[nodiscard]] bool is_control(char32_t code);

/// Marks, embeddings, overrides and isolates, and what ends a line or a paragraph [Unicode 15,
/// 23.2]: what comes behind may be read in another order or place.
[[nodiscard]] bool turns_direction(char32_t code);

/// Whether line ends and tabs stay what they are.
enum class Lines { escape, keep };

/// The text with control characters (C0, DEL, C1) and bytes that are no UTF-8 shown as \x1b, what
/// turns the direction of writing as \u202e [Unicode 15, 23.1, 23.2].
[[nodiscard]] std::string visible(std::string_view text, Lines lines = Lines::escape);

}  // namespace railtap
