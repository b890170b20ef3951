// SPDX-License-Identifier: MIT
// Bars, columns and curves out of characters.
#pragma once

#include <span>

#include "live/canvas.hpp"
#include "live/watch_screen.hpp"
#include "measure/folded_cycle.hpp"

namespace railtap::live {

/// A cell of a bar that grows to the right. \param share of the cell that is filled, 0 … 1
[[nodiscard]] char32_t bar_cell(double share, const Glyphs& glyphs);

/// A column that grows upwards from the last row of the area. \param share of its height, 0 … 1
void draw_column(const Area& area, int column, double share, Style style, const Glyphs& glyphs);

/// One cycle over the whole area, full height for its peak, zero in the middle.
void draw_curve(const Area& area, std::span<const measure::FoldedPoint> cycle, Style style,
                const Glyphs& glyphs);

}  // namespace railtap::live
