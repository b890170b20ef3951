// SPDX-License-Identifier: MIT
// A grid of characters to draw on, which a terminal shows and a test reads; curves, bars and large
// figures on it.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "measure/folded_cycle.hpp"

namespace railtap::live {

/// What a character means; the terminal decides what that looks like, with colours or without.
/// `paper`
/// is black on white whatever the terminal's colours are, for a code that a camera reads.
enum class Style : unsigned char { plain, faint, strong, good, caution, alarm, heading, paper };

/// The characters that are drawn with.
struct Glyphs {
  bool blocks = true;   ///< block elements and lines (Unicode U+2500 to U+259F)
  bool braille = true;  ///< dots of a waveform (U+2800), which few consoles without a desktop have
};

/// One character of the grid, and what it means.
struct Cell {
  char32_t glyph = U' ';
  Style style = Style::plain;
  bool operator==(const Cell&) const = default;
};

/// What is outside of it is left out when drawing. All characters are one column wide.
class Canvas {
 public:
  Canvas(int rows, int columns) : rows_(rows), columns_(columns), cells_(index(rows, 0)) {}

  [[nodiscard]] int rows() const { return rows_; }
  [[nodiscard]] int columns() const { return columns_; }
  [[nodiscard]] const Cell& at(int row, int column) const { return cells_[index(row, column)]; }

  void put(int row, int column, char32_t glyph, Style style);
  /// \param text UTF-8. \returns the column behind it
  int write(int row, int column, std::string_view text, Style style);

  /// A row as UTF-8, without the blanks at its end.
  [[nodiscard]] std::string row_text(int row) const;

 private:
  [[nodiscard]] std::size_t index(int row, int column) const {
    return static_cast<std::size_t>(row) * static_cast<std::size_t>(columns_) +
           static_cast<std::size_t>(column);
  }

  int rows_, columns_;
  std::vector<Cell> cells_;
};

/// A part of a canvas, with coordinates of its own.
struct Area {
  Canvas& canvas;
  int top = 0, left = 0, rows = 0, columns = 0;

  void put(int row, int column, char32_t glyph, Style style) const;
  /// What does not fit is cut off. \returns the column behind it
  int write(int row, int column, std::string_view text, Style style) const;
  /// The same, ending at the right edge.
  void write_right(int row, std::string_view text, Style style) const;
  [[nodiscard]] Area part(int from_row, int count) const {
    return {canvas, top + from_row, left, count, columns};
  }
};

/// UTF-8 to characters; what is no UTF-8 becomes '?', and so do control characters, which would
/// reach the terminal.
[[nodiscard]] std::u32string decode(std::string_view text);
/// The way back, a character at a time.
void append_utf8(std::string& text, char32_t glyph);

/// How large a dot of a figure is.
struct DigitScale {
  int rows = 1, columns = 2;
};

/// Columns that a text of digits, '.' and '-' takes; a figure is 5 dots high.
[[nodiscard]] int big_width(std::string_view text, DigitScale scale);

/// The largest scale at which the text fits into so many rows and columns; the smallest if none
/// does.
[[nodiscard]] DigitScale fitting_scale(std::string_view text, int rows, int columns);

/// \returns the column behind the text
int draw_big(const Area& area, int column, std::string_view text, DigitScale scale, char32_t dot,
             Style style);

/// A cell of a bar that grows to the right. \param share of the cell that is filled, 0 … 1
[[nodiscard]] char32_t bar_cell(double share, const Glyphs& glyphs);

/// A column that grows upwards from the last row of the area. \param share of its height, 0 … 1
void draw_column(const Area& area, int column, double share, Style style, const Glyphs& glyphs);

/// One cycle over the whole area, full height for its peak, zero in the middle.
void draw_curve(const Area& area, std::span<const measure::FoldedPoint> cycle, Style style,
                const Glyphs& glyphs);

}  // namespace railtap::live
