// SPDX-License-Identifier: MIT
// How a page is reached: its address, and in a network the code that a phone reads.
#pragma once

#include <iosfwd>
#include <string>

#include "live/canvas.hpp"

namespace railtap::live {

/// What is told of a page.
struct PageNotice {
  std::string address;        ///< the whole of it
  std::string short_address;  ///< to be typed on this computer
  bool lan = false;           ///< others can reach it
};

/// Over the whole canvas, with the code where there is room for it (21 rows at most addresses).
void draw(const PageNotice& notice, const Glyphs& glyphs, Canvas& canvas);

/// What a code is written with: dark on light by colours, the terminal's own light text, or not.
enum class CodeInk : unsigned char { colours, light, none };

/// The same on a terminal that is written line by line.
void print(const PageNotice& notice, CodeInk ink, std::ostream& out);

}  // namespace railtap::live
