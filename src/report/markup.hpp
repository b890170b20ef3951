// SPDX-License-Identifier: MIT
// Text that anybody may have written, put into HTML or SVG so that it stays text.
#pragma once

#include <string>
#include <string_view>

#include "units/visible.hpp"

namespace railtap::report {

/// Escapes what has a meaning in HTML and XML, in text and in quoted attributes. Control
/// characters, which XML forbids, and what is not UTF-8 become U+FFFD.
[[nodiscard]] std::string escaped(std::string_view text);

/// At most `most` characters, the last one an ellipsis where something was left out. UTF-8.
[[nodiscard]] std::string shortened(std::string_view text, std::size_t most);

/// The escaped text, its direction of writing kept to itself.
[[nodiscard]] std::string isolated(std::string_view text);

/// railtap::visible, by the name that reports have for it.
[[nodiscard]] inline std::string printable(std::string_view text) {
  return visible(text);
}

}  // namespace railtap::report
