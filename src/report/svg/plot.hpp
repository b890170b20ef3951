// SPDX-License-Identifier: MIT
// A small plot: axes with units, lines that differ in dash and marker as well as in colour, bands,
// marks with a word, and an alternative text.
#pragma once

#include <string>
#include <vector>

#include "report/svg/ticks.hpp"

namespace railtap::report::svg {

/// How a line looks: each has a colour, a dash and a marker of its own, so that black print and
/// every kind of colour vision tell them apart; only `quiet` has the marker of `first`.
enum class Ink { first, second, third, quiet };

/// A curve, or points alone, in the units of the axes.
struct Line {
  std::string name;  ///< in the key; empty: not in it
  Ink ink = Ink::first;
  std::vector<double> x, y;  ///< of the same length; values outside the axes lie on their edge
  bool joined = true;        ///< by straight lines
  bool markers = false;      ///< at every point
};

/// The space between two curves, filled; lists of the same length.
struct Band {
  std::vector<double> x, low, high;
};

/// A straight line at one value of an axis, named in the key.
struct Mark {
  double at = 0.0;
  std::string text;
  bool upright = true;  ///< at a value of x; else of y
  Ink ink = Ink::second;
  std::string value, pointer;  ///< of the number in the text: as a document has it, and where
};

/// A plot before it is drawn. Bands lie at the back, then marks, and lines on top.
struct Plot {
  std::string id;           ///< for a file's name: letters, digits and hyphens
  std::string title;        ///< any text
  std::string description;  ///< what is to be seen, for those who can't; any text
  Axis x, y;
  std::vector<Band> bands;
  std::vector<Line> lines;
  std::vector<Mark> marks;
};

/// Width and height of every plot, in units of the picture: readable at 350 pixels.
inline constexpr int plot_width = 420, plot_height = 300;

/// The picture as an element of a page that has `style()`.
[[nodiscard]] std::string drawing(const Plot& plot);

/// A file of its own: the pictures below each other, two in a row, with their style.
[[nodiscard]] std::string picture_file(const std::vector<Plot>& plots);

/// The CSS that plots and diagrams need: colours for light, dark and paper. A page may use its
/// variables.
[[nodiscard]] const std::string& style();

}  // namespace railtap::report::svg
