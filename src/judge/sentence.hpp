// SPDX-License-Identifier: MIT
// Numbers put into a sentence.
#pragma once

#include <cstdio>
#include <string>

namespace railtap::judge {

/// A printf format for up to two numbers, at most 255 characters long.
[[nodiscard]] inline std::string sentence(const char* format, double a, double b = 0.0) {
  char buffer[256];
  std::snprintf(buffer, sizeof buffer, format, a, b);
  return buffer;
}

}  // namespace railtap::judge
