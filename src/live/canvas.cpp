// SPDX-License-Identifier: MIT
// The grid, and UTF-8.
#include "live/canvas.hpp"

#include <algorithm>

#include "units/print.hpp"

namespace railtap::live {
namespace {

constexpr char32_t replacement = U'?';

bool is_control(char32_t glyph) {
  return glyph < 0x20 || (glyph >= 0x7F && glyph < 0xA0);
}

}  // namespace

std::u32string decode(std::string_view text) {
  std::u32string out;
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t length = character_length(text, i);
    const auto first = static_cast<unsigned char>(text[i]);
    char32_t glyph = length == 1 ? first : first & (0x7FU >> length);
    for (std::size_t k = 1; k < length; ++k) {
      glyph = (glyph << 6U) | (static_cast<unsigned char>(text[i + k]) & 0x3FU);
    }
    out.push_back(length == 0 || is_control(glyph) ? replacement : glyph);
    i += std::max<std::size_t>(length, 1);
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
