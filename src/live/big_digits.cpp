// SPDX-License-Identifier: MIT
// The dots of large figures.
#include "live/big_digits.hpp"

#include <array>

namespace railtap::live {
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

}  // namespace railtap::live
