// SPDX-License-Identifier: MIT
// The phone page's state as the document that is sent to it.
#pragma once

#include <string>

#include "page/page_state.hpp"

namespace railtap::page {

/// The most characters of any one text that are sent; what is longer ends with "…".
inline constexpr std::size_t longest_text = 300;

/// One JSON document in a line. Between program and page only: its keys may change. Bytes that are
/// no UTF-8 become U+FFFD, and so do control characters and those that change the direction of
/// text [Unicode 15, UAX #9, 2.1 to 2.5].
[[nodiscard]] std::string page_json(const PageState& state);

/// A text as the page gets it.
[[nodiscard]] std::string shown_text(const std::string& text);

}  // namespace railtap::page
