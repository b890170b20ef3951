// SPDX-License-Identifier: MIT
// The watch screen as a drawing: no terminal is needed to make it.
#pragma once

#include "live/canvas.hpp"
#include "live/watch_view.hpp"

namespace railtap::live {

/// Draws everything at the size of the canvas. Two channels are shown side by side from 78 columns
/// on; in less there is one, that of the focus. Under 38 columns or 15 rows it only asks for more
/// room.
void draw(const WatchView& view, const Glyphs& glyphs, Canvas& canvas);

}  // namespace railtap::live
