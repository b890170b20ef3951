// SPDX-License-Identifier: MIT
// Where an axis has its marks, and what stands beside them.
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

}  // namespace railtap::report::svg
