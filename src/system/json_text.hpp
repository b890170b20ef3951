// SPDX-License-Identifier: MIT
// JSON documents as text, whatever bytes a name in them has.
#pragma once

#include <nlohmann/json.hpp>
#include <string>

namespace railtap::system {

/// One line of JSON. Names of files, devices and channels may hold bytes that are no UTF-8; these
/// become U+FFFD, where the library would throw.
template <class Document>
[[nodiscard]] std::string json_line(const Document& document) {
  return document.dump(-1, ' ', false, Document::error_handler_t::replace);
}

/// The same over several lines, the last one ended.
template <class Document>
[[nodiscard]] std::string json_page(const Document& document) {
  return document.dump(2, ' ', false, Document::error_handler_t::replace) + "\n";
}

}  // namespace railtap::system
