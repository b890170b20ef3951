// SPDX-License-Identifier: MIT
// The page itself, as it is built into the program.
#pragma once

#include <string_view>

namespace railtap::page {

/// The files of src/page/screen.
[[nodiscard]] std::string_view page_html();
[[nodiscard]] std::string_view page_css();
[[nodiscard]] std::string_view page_js();

}  // namespace railtap::page
