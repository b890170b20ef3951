// SPDX-License-Identifier: MIT
// Text that came from a file, made safe for a terminal.
#include <string>

#include "report/printable.hpp"

namespace railtap::report {

std::string printable(std::string_view text) {
  std::string result;
  for (const char c : text) {
    const auto code = static_cast<unsigned char>(c);
    const bool control = code < 0x20 || code == 0x7f;
    result += control ? ' ' : c;
  }
  return result;
}

}  // namespace railtap::report
