// SPDX-License-Identifier: MIT
// A small plot: axes with units and round marks, lines that differ in dash and marker as well as in
// colour, bands, marks with a word, and an alternative text.
#pragma once

#include <span>
#include <string>
#include <vector>

namespace railtap::report::svg {

/// What takes the same room on an axis: equal differences, or equal ratios.
enum class Scale { linear, logarithmic };

/// One axis of a plot.
struct Axis {
  std::string label;  ///< with the unit: "volts", "THD+N, %"
  Scale scale = Scale::linear;
  double low = 0.0, high = 1.0;  ///< low < high; logarithmic: low > 0
  double step = 0.0;             ///< between marks of a linear axis; 0 chooses one

  /// Where a value lies, 0 at `low`, 1 at `high`; outside, the nearer end.
  [[nodiscard]] double share(double value) const;
};

/// A mark on an axis, and the number beside it.
struct Tick {
  double value = 0.0;
  std::string label;
};

/// About `most` marks at round values: 1, 2 or 5 times a power of ten.
[[nodiscard]] std::vector<Tick> ticks(const Axis& axis, int most);

/// A linear axis around all these values, its ends at round values. Values may be empty.
[[nodiscard]] Axis linear_axis(std::string label, std::span<const double> values);

/// A logarithmic axis around the values above 0, its ends at 1, 2 or 5 times a power of ten.
[[nodiscard]] Axis logarithmic_axis(std::string label, std::span<const double> values);

/// The number in a picture's coordinates: one decimal, a point in every locale.
[[nodiscard]] std::string coordinate(double value);

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
