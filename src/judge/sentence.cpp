// SPDX-License-Identifier: MIT
// Numbers and names put into a sentence.
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

std::string channel_called(const std::string& name, int number) {
  return name.empty() ? "channel " + std::to_string(number) : name;
}

std::string name_of_channel(const std::vector<std::string>& names, int number) {
  const auto index = static_cast<std::size_t>(number - 1);
  return number >= 1 && index < names.size() ? names[index] : "";
}

std::string channel_called(const std::vector<std::string>& names, int number) {
  return channel_called(name_of_channel(names, number), number);
}

}  // namespace railtap::judge
