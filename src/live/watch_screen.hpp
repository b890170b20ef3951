// SPDX-License-Identifier: MIT
// The watch screen as a drawing.
#pragma once

#include "live/canvas.hpp"
#include "live/watch_view.hpp"

namespace railtap::live {

/// Draws everything at the size of the window. Two channels are shown side by side from 78 columns
/// on; in less there is one, that of the focus. Under 38 columns or 15 rows it only asks for more
/// room.
void draw(const WatchView& view, const Glyphs& glyphs, WINDOW* window);

}  // namespace railtap::live
