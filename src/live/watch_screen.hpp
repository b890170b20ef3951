// SPDX-License-Identifier: MIT
// The watch screen as a drawing: no terminal is needed to make it.
#pragma once

#include "live/canvas.hpp"
#include "live/watch_view.hpp"

namespace railtap::live {

/// The characters that are drawn with.
struct Glyphs {
  bool blocks = true;   ///< block elements and lines (Unicode U+2500 to U+259F)
  bool braille = true;  ///< dots of a waveform (U+2800), which few consoles without a desktop have
};

/// Draws everything at the size of the canvas. Two channels stand side by side from 78 columns on;
/// in less there is one, that of the focus. Under 38 columns or 15 rows it only asks for more room.
void draw(const WatchView& view, const Glyphs& glyphs, Canvas& canvas);

}  // namespace railtap::live
