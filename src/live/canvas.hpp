// SPDX-License-Identifier: MIT
// Parts of the screen, which are windows of ncurses; curves, bars and large figures on them.
#pragma once

#include <memory>
#include <span>
#include <string_view>

#define NCURSES_NOMACROS 1
#define NCURSES_WIDECHAR 1
#include <curses.h>

#include "measure/folded_cycle.hpp"

namespace railtap::live {

/// What a character means; what that looks like depends on the terminal's colours. `paper` is black
/// on white whatever the terminal's colours are, for a code that a camera reads.
enum class Style : unsigned char { plain, faint, strong, good, caution, alarm, heading, paper };

/// Starts the terminal's colours; without them, styles are attributes only.
void prepare_colours();

/// The characters that are drawn with.
struct Glyphs {
  bool blocks = true;   ///< block elements and lines (Unicode U+2500 to U+259F)
  bool braille = true;  ///< dots of a waveform (U+2800), which few consoles without a desktop have
};

/// A part of the screen, with coordinates of its own: a window of ncurses. What is outside of it is
/// left out when drawing.
class Area {
 public:
  /// The whole of a window. \param window outlives it, and is drawn on
  explicit Area(WINDOW* window) : window_(derwin(window, 0, 0, 0, 0)) {}

  [[nodiscard]] int rows() const { return getmaxy(window_.get()); }
  [[nodiscard]] int columns() const { return getmaxx(window_.get()); }

  /// \param count how often, to the right
  void put(int row, int column, char32_t glyph, Style style, int count = 1) const;
  /// What does not fit is cut off. \param text UTF-8; what is none, and what no terminal should
  /// get, becomes '?'. \returns the column behind what is shown
  int write(int row, int column, std::string_view text, Style style) const;
  /// The same, ending at the right edge.
  void write_right(int row, std::string_view text, Style style) const;
  /// Rows (> 0) in full width.
  [[nodiscard]] Area part(int from_row, int count) const { return part(from_row, 0, count, 0); }
  /// \param columns 0: all to the right edge
  [[nodiscard]] Area part(int row, int column, int rows, int columns) const {
    return Area(derwin(window_.get(), rows, columns, row, column), Derived{});
  }

 private:
  struct Derived {};
  Area(WINDOW* derived, Derived) : window_(derived) {}
  struct Delete {
    void operator()(WINDOW* window) const { delwin(window); }
  };
  // None where it would not lie inside; ncurses then draws nothing.
  std::unique_ptr<WINDOW, Delete> window_;
};

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
