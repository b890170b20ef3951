// SPDX-License-Identifier: MIT
// Figures several lines high, to be read from two metres away.
#pragma once

#include <string_view>

#include "live/canvas.hpp"

namespace railtap::live {

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

}  // namespace railtap::live
