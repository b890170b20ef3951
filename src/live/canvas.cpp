// SPDX-License-Identifier: MIT
// Parts of the screen, and what is drawn on them: text, curves, bars, large figures.
#include "live/canvas.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cwchar>
#include <string>
#include <vector>

#include "units/visible.hpp"

namespace railtap::live {
namespace {

constexpr wchar_t replacement = L'?';

enum Pair : short { pair_good = 1, pair_caution, pair_alarm, pair_heading, pair_paper };

struct Look {
  attr_t attributes = A_NORMAL;
  short pair = 0;
};

Look look_of(Style style) {
  const bool colour = COLORS > 0;  // they were started
  switch (style) {
    case Style::plain:
      return {};
    case Style::faint:
      return {A_DIM, 0};
    case Style::strong:
      return {A_BOLD, 0};
    case Style::good:
      return colour ? Look{A_BOLD, pair_good} : Look{A_BOLD, 0};
    case Style::caution:
      return colour ? Look{A_BOLD, pair_caution} : Look{A_BOLD | A_UNDERLINE, 0};
    case Style::alarm:
      return colour ? Look{A_BOLD, pair_alarm} : Look{A_BOLD | A_REVERSE, 0};
    case Style::heading:
      return colour ? Look{A_BOLD, pair_heading} : Look{A_REVERSE, 0};
    case Style::paper:
      return colour ? Look{A_NORMAL, pair_paper} : Look{A_REVERSE, 0};
  }
  return {};
}

// A block in the alarm's colours would be white on red, hardly seen as red from afar.
Look look_of_block(Look look) {
  if (look.pair == pair_alarm) look.attributes |= A_REVERSE;
  return look;
}

bool is_block(char32_t glyph) {
  return glyph >= U'\u2581' && glyph <= U'\u2588';
}

// A character of one column.
cchar_t drawn(char32_t glyph, Style style) {
  Look look = look_of(style);
  if (is_block(glyph)) look = look_of_block(look);
  const wchar_t text[2] = {static_cast<wchar_t>(glyph), L'\0'};
  cchar_t character;
  setcchar(&character, text, look.attributes, look.pair, nullptr);
  return character;
}

std::wstring wide(std::string_view text) {
  std::wstring out;
  for (std::size_t at = 0; at < text.size();) {
    const Character character = character_at(text, at);
    const auto code = static_cast<wchar_t>(character.code);
    const bool shown =
        character.well_formed && !turns_direction(character.code) && wcwidth(code) >= 0;
    out.push_back(shown ? code : replacement);
    at += character.bytes;
  }
  return out;
}

int width(const std::wstring& text) {
  return wcswidth(text.c_str(), text.size());
}

}  // namespace

void prepare_colours() {
  start_color();
  use_default_colors();
  init_pair(pair_good, COLOR_GREEN, -1);
  init_pair(pair_caution, COLOR_YELLOW, -1);
  init_pair(pair_alarm, COLOR_WHITE, COLOR_RED);
  init_pair(pair_heading, COLOR_WHITE, COLOR_BLUE);
  constexpr short bright_white = 15;
  init_pair(pair_paper, COLOR_BLACK, COLORS > bright_white ? bright_white : COLOR_WHITE);
}

void Area::put(int row, int column, char32_t glyph, Style style, int count) const {
  const cchar_t character = drawn(glyph, style);
  mvwhline_set(window_.get(), row, column, &character, count);
}

int Area::write(int row, int column, std::string_view text, Style style) const {
  const std::wstring shown = wide(text);
  const int start = column;
  // ncurses would go on in the next row.
  std::size_t fitting = 0;
  for (; fitting < shown.size() && column + wcwidth(shown[fitting]) <= columns(); ++fitting)
    column += wcwidth(shown[fitting]);
  const Look look = look_of(style);
  wattr_set(window_.get(), look.attributes, look.pair, nullptr);
  mvwaddnwstr(window_.get(), row, start, shown.c_str(), static_cast<int>(fitting));
  return column;
}

void Area::write_right(int row, std::string_view text, Style style) const {
  write(row, std::max(columns() - width(wide(text)), 0), text, style);
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
      for (int k = 0; k < dots; ++k) {
        if (line[static_cast<std::size_t>(k)] == '#')
          area.put(row, column + k * scale.columns, dot, style, scale.columns);
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
        width_(area.columns() * across),
        height_(area.rows() * down),
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
  const double height = share * area.rows();
  for (int row = 0; row < area.rows(); ++row) {
    const double part = std::clamp(height - (area.rows() - 1 - row), 0.0, 1.0);
    const auto filled = static_cast<char32_t>(std::lround(part * eighths));
    if (filled == 0 && row < area.rows() - 1) continue;
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
  area.put(area.rows() / 2, 0, glyphs.blocks ? U'\u2500' : U'-', Style::faint, area.columns());
  Dots dots(area, glyphs.braille ? 2 : 1, glyphs.braille ? 4 : 1);
  trace(dots, cycle, peak);
  for (int row = 0; row < area.rows(); ++row) {
    for (int column = 0; column < area.columns(); ++column) {
      const char32_t glyph =
          glyphs.braille ? braille(dots, column, row) : (dots.lit(column, row) ? U'*' : U' ');
      if (glyph != U' ') area.put(row, column, glyph, style);
    }
  }
}

}  // namespace railtap::live
