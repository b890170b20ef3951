// SPDX-License-Identifier: MIT
// Numbers put into a sentence.
#include "judge/sentence.hpp"

#include <cstdarg>
#include <cstdio>

namespace railtap::judge {

std::string sentence(const char* format, ...) {
  std::va_list numbers, again;
  va_start(numbers, format);
  va_copy(again, numbers);
  const int length = std::vsnprintf(nullptr, 0, format, numbers);
  va_end(numbers);
  std::string text(length < 0 ? 0U : static_cast<std::size_t>(length), '\0');
  // The end that vsnprintf writes falls on the string's own.
  if (length > 0) std::vsnprintf(text.data(), text.size() + 1, format, again);
  va_end(again);
  return text;
}

}  // namespace railtap::judge
