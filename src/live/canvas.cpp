// SPDX-License-Identifier: MIT
// The grid, and UTF-8.
#include "live/canvas.hpp"

#include <algorithm>

namespace railtap::live {
namespace {

constexpr char32_t replacement = U'?';

// Length of a UTF-8 sequence by its first byte; 0 for none.
int sequence_length(unsigned char first) {
  if (first < 0x80) return 1;
  if (first >= 0xC2 && first < 0xE0) return 2;
  if (first >= 0xE0 && first < 0xF0) return 3;
  if (first >= 0xF0 && first < 0xF5) return 4;
  return 0;
}

bool is_control(char32_t glyph) {
  return glyph < 0x20 || (glyph >= 0x7F && glyph < 0xA0);
}

// Whether `count` continuation bytes come first.
bool is_continued(std::string_view text, int count) {
  const auto is_continuation = [](char c) {
    return (static_cast<unsigned char>(c) & 0xC0U) == 0x80U;
  };
  return text.size() >= static_cast<std::size_t>(count) &&
         std::all_of(text.begin(), text.begin() + count, is_continuation);
}

// Controls, surrogates, what is beyond Unicode, and what a shorter sequence would encode [RFC 3629,
// section 3].
bool is_unfit(char32_t glyph, int length) {
  constexpr char32_t least_of_three = 0x800, least_of_four = 0x10000, highest = 0x10FFFF;
  const char32_t least = length == 4 ? least_of_four : length == 3 ? least_of_three : 0;
  return is_control(glyph) || glyph < least || glyph > highest ||
         (glyph >= 0xD800 && glyph < 0xE000);
}

}  // namespace

std::u32string decode(std::string_view text) {
  std::u32string out;
  for (std::size_t i = 0; i < text.size();) {
    const auto first = static_cast<unsigned char>(text[i]);
    const int length = sequence_length(first);
    if (length == 0 || !is_continued(text.substr(i + 1), length - 1)) {
      out.push_back(replacement);
      ++i;
      continue;
    }
    char32_t glyph = length == 1 ? first : first & (0x7F >> length);
    for (int k = 1; k < length; ++k) {
      const auto next = static_cast<unsigned char>(text[i + static_cast<std::size_t>(k)]);
      glyph = (glyph << 6U) | (next & 0x3FU);
    }
    out.push_back(is_unfit(glyph, length) ? replacement : glyph);
    i += static_cast<std::size_t>(length);
  }
  return out;
}

void append_utf8(std::string& text, char32_t glyph) {
  const auto tail = [&text, glyph](unsigned shift) {
    text.push_back(static_cast<char>(0x80U | ((glyph >> shift) & 0x3FU)));
  };
  if (glyph < 0x80) {
    text.push_back(static_cast<char>(glyph));
  } else if (glyph < 0x800) {
    text.push_back(static_cast<char>(0xC0U | (glyph >> 6U)));
    tail(0);
  } else if (glyph < 0x10000) {
    text.push_back(static_cast<char>(0xE0U | (glyph >> 12U)));
    tail(6);
    tail(0);
  } else {
    text.push_back(static_cast<char>(0xF0U | (glyph >> 18U)));
    tail(12);
    tail(6);
    tail(0);
  }
}

void Canvas::put(int row, int column, char32_t glyph, Style style) {
  if (row < 0 || row >= rows_ || column < 0 || column >= columns_) return;
  cells_[index(row, column)] = {glyph, style};
}

int Canvas::write(int row, int column, std::string_view text, Style style) {
  for (const char32_t glyph : decode(text)) put(row, column++, glyph, style);
  return column;
}

std::string Canvas::row_text(int row) const {
  std::string text;
  for (int column = 0; column < columns_; ++column) append_utf8(text, at(row, column).glyph);
  const auto last = text.find_last_not_of(' ');
  text.resize(last == std::string::npos ? 0 : last + 1);
  return text;
}

void Area::put(int row, int column, char32_t glyph, Style style) const {
  if (row < 0 || row >= rows || column < 0 || column >= columns) return;
  canvas.put(top + row, left + column, glyph, style);
}

int Area::write(int row, int column, std::string_view text, Style style) const {
  for (const char32_t glyph : decode(text)) put(row, column++, glyph, style);
  return column;
}

void Area::write_right(int row, std::string_view text, Style style) const {
  const auto width = static_cast<int>(decode(text).size());
  write(row, std::max(columns - width, 0), text, style);
}

}  // namespace railtap::live
