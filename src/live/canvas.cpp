// SPDX-License-Identifier: MIT
// The grid with its UTF-8, and what is drawn on it: curves, bars, large figures.
#include "live/canvas.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "units/visible.hpp"

namespace railtap::live {
namespace {

constexpr char32_t replacement = U'?';

}  // namespace

std::u32string decode(std::string_view text) {
  std::u32string out;
  for (std::size_t at = 0; at < text.size();) {
    const Character character = character_at(text, at);
    const bool hidden = !character.well_formed || is_control(character.code);
    out.push_back(hidden ? replacement : character.code);
    at += character.bytes;
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

namespace {

constexpr int dots_high = 5;

// Rows from the top, each with its dots from the left; all rows of a figure are equally long.
struct Figure {
  char name;
  std::array<std::string_view, dots_high> rows;
};

constexpr std::array figures{
    Figure{'0', {"###", "# #", "# #", "# #", "###"}},
    Figure{'1', {" # ", "## ", " # ", " # ", "###"}},
    Figure{'2', {"###", "  #", "###", "#  ", "###"}},
    Figure{'3', {"###", "  #", " ##", "  #", "###"}},
    Figure{'4', {"# #", "# #", "###", "  #", "  #"}},
    Figure{'5', {"###", "#  ", "###", "  #", "###"}},
    Figure{'6', {"###", "#  ", "###", "# #", "###"}},
    Figure{'7', {"###", "  #", "  #", " # ", " # "}},
    Figure{'8', {"###", "# #", "###", "# #", "###"}},
    Figure{'9', {"###", "# #", "###", "  #", "###"}},
    Figure{'-', {"  ", "  ", "##", "  ", "  "}},
    Figure{'.', {" ", " ", " ", " ", "#"}},
    Figure{' ', {" ", " ", " ", " ", " "}},
};

constexpr std::array scales{DigitScale{3, 6}, DigitScale{2, 4}, DigitScale{2, 3}, DigitScale{1, 2}};

const Figure& figure(char name) {
  for (const Figure& f : figures) {
    if (f.name == name) return f;
  }
  return figures.back();
}

}  // namespace

int big_width(std::string_view text, DigitScale scale) {
  int width = 0;
  for (const char c : text) {
    const auto dots = static_cast<int>(figure(c).rows[0].size());
    width += dots * scale.columns + 1;
  }
  return width > 0 ? width - 1 : 0;
}

DigitScale fitting_scale(std::string_view text, int rows, int columns) {
  for (const DigitScale scale : scales) {
    if (dots_high * scale.rows <= rows && big_width(text, scale) <= columns) return scale;
  }
  return scales.back();
}

int draw_big(const Area& area, int column, std::string_view text, DigitScale scale, char32_t dot,
             Style style) {
  for (const char c : text) {
    const Figure& f = figure(c);
    const auto dots = static_cast<int>(f.rows[0].size());
    for (int row = 0; row < dots_high * scale.rows; ++row) {
      const std::string_view line = f.rows[static_cast<std::size_t>(row / scale.rows)];
      for (int k = 0; k < dots * scale.columns; ++k) {
        if (line[static_cast<std::size_t>(k / scale.columns)] == '#')
          area.put(row, column + k, dot, style);
      }
    }
    column += dots * scale.columns + 1;
  }
  return column;
}

namespace {

constexpr int eighths = 8;

// Height of the curve at a phase, between its points, which go round.
double value_at(std::span<const measure::FoldedPoint> cycle, double phase) {
  const auto after = std::find_if(cycle.begin(), cycle.end(),
                                  [phase](const auto& point) { return point.phase > phase; });
  const auto& right = after == cycle.end() ? cycle.front() : *after;
  const auto& left = after == cycle.begin() ? cycle.back() : *(after - 1);
  double span = right.phase - left.phase;
  double from = phase - left.phase;
  if (span <= 0.0) span += 1.0;
  if (from < 0.0) from += 1.0;
  return left.mean + (right.mean - left.mean) * (from / span);
}

// Dots of which several make a character.
class Dots {
 public:
  Dots(const Area& area, int across, int down)
      : across_(across),
        down_(down),
        width_(area.columns * across),
        height_(area.rows * down),
        lit_(index(0, height_), false) {}

  [[nodiscard]] int width() const { return width_; }
  [[nodiscard]] int height() const { return height_; }
  void light(int x, int y) {
    if (x < 0 || x >= width_ || y < 0 || y >= height_) return;
    lit_[index(x, y)] = true;
  }
  [[nodiscard]] bool lit(int x, int y) const { return lit_[index(x, y)]; }
  [[nodiscard]] int across() const { return across_; }
  [[nodiscard]] int down() const { return down_; }

 private:
  [[nodiscard]] std::size_t index(int x, int y) const {
    return static_cast<std::size_t>(y) * static_cast<std::size_t>(width_) +
           static_cast<std::size_t>(x);
  }

  int across_, down_, width_, height_;
  std::vector<bool> lit_;
};

// A braille pattern has its dots numbered 1 2 3 7 down the left and 4 5 6 8 down the right; dot n
// is bit n − 1 above U+2800 [The Unicode Standard 15.0, 21.1].
char32_t braille(const Dots& dots, int column, int row) {
  constexpr unsigned bits[4][2] = {{0, 3}, {1, 4}, {2, 5}, {6, 7}};
  unsigned pattern = 0;
  for (int y = 0; y < 4; ++y) {
    for (int x = 0; x < 2; ++x) {
      if (dots.lit(2 * column + x, 4 * row + y)) pattern |= 1U << bits[y][x];
    }
  }
  return pattern == 0 ? U' ' : U'\u2800' + pattern;
}

void trace(Dots& dots, std::span<const measure::FoldedPoint> cycle, double peak) {
  int last_y = -1;
  for (int x = 0; x < dots.width(); ++x) {
    const double value = value_at(cycle, (x + 0.5) / dots.width()) / peak;
    const int y = static_cast<int>(std::lround((1.0 - value) * 0.5 * (dots.height() - 1)));
    const int from = last_y < 0 ? y : last_y;
    const int step = from < y ? 1 : -1;
    for (int k = from; k != y; k += step) dots.light(x, k);
    dots.light(x, y);
    last_y = y;
  }
}

}  // namespace

char32_t bar_cell(double share, const Glyphs& glyphs) {
  if (!glyphs.blocks) return share >= 0.5 ? U'=' : U'.';
  const auto filled = static_cast<char32_t>(std::lround(share * eighths));
  // U+2588 is the full block, U+258F the left eighth.
  return filled == 0 ? U'\u00B7' : U'\u2588' + (eighths - filled);
}

void draw_column(const Area& area, int column, double share, Style style, const Glyphs& glyphs) {
  const double height = share * area.rows;
  for (int row = 0; row < area.rows; ++row) {
    const double part = std::clamp(height - (area.rows - 1 - row), 0.0, 1.0);
    const auto filled = static_cast<char32_t>(std::lround(part * eighths));
    if (filled == 0 && row < area.rows - 1) continue;
    // U+2581 is the lowest eighth, U+2588 the full block. The lowest row always shows something.
    const char32_t block = U'\u2580' + std::max<char32_t>(filled, 1);
    area.put(row, column, glyphs.blocks ? block : (part >= 0.5 ? U'#' : U'.'), style);
  }
}

void draw_curve(const Area& area, std::span<const measure::FoldedPoint> cycle, Style style,
                const Glyphs& glyphs) {
  double peak = 0.0;
  for (const auto& point : cycle) peak = std::max(peak, std::abs(point.mean));
  if (peak <= 0.0) return;
  for (int column = 0; column < area.columns; ++column)
    area.put(area.rows / 2, column, glyphs.blocks ? U'\u2500' : U'-', Style::faint);
  Dots dots(area, glyphs.braille ? 2 : 1, glyphs.braille ? 4 : 1);
  trace(dots, cycle, peak);
  for (int row = 0; row < area.rows; ++row) {
    for (int column = 0; column < area.columns; ++column) {
      const char32_t glyph =
          glyphs.braille ? braille(dots, column, row) : (dots.lit(column, row) ? U'*' : U' ');
      if (glyph != U' ') area.put(row, column, glyph, style);
    }
  }
}

}  // namespace railtap::live
