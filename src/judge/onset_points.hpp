// SPDX-License-Identifier: MIT
// Measured steps in the terms in which the criteria of onset work: decibels and mean squares.
#pragma once

#include <algorithm>
#include <cstddef>
#include <optional>
#include <vector>

#include "judge/analysis.hpp"
#include "measure/clipped_sine.hpp"
#include "measure/known_steps.hpp"
#include "units/quantity.hpp"

namespace railtap::judge::criteria {

/// Steps of different level that it takes to say anything.
inline constexpr std::size_t least_steps = 3;

/// The chain's own curvature moves the best of fits by about this much, dB (seen in trials with
/// clean chains).
inline constexpr double least_uncertainty_db = 0.002;

/// A step that holds a tone.
struct Point {
  int index = 0;                                           ///< of the step, from 1
  std::optional<double> input;                             ///< dB: dBFS, or re the first step
  double level = 0.0;                                      ///< dBFS of fundamental and harmonics
  double fundamental = 0.0, harmonics = 0.0, noise = 0.0;  ///< mean squares
  double level_sigma = 0.0;                                ///< dB
  std::size_t orders = 1;                                  ///< in the band
  const measure::HarmonicSeries* series = nullptr;         ///< of the step, which must outlive this
  const measure::ClippedSineFit* clip = nullptr;           ///< none where nothing was fitted
  Verdict verdict = Verdict::clean;
  [[nodiscard]] double thdn_squared() const {
    return (harmonics + noise) / (fundamental + harmonics + noise);
  }
};

/// A level found by one way of working.
struct Estimate {
  std::optional<double> input;  ///< dB, as Point::input
  double level = 0.0;           ///< dBFS
  double sigma = 0.0;           ///< standard uncertainty, dB
};

/// dBFS of a mean square in full scales.
[[nodiscard]] double level_db(double mean_square);

/// What steps are ordered by and interpolated on: the input, or the level where there is none.
[[nodiscard]] double axis(const Point& point);

/// The point of a step that holds a tone.
[[nodiscard]] Point point_of(const measure::MeasuredStep& measured, Verdict verdict,
                             Hertz band_high);

/// Values over the axis, for interpolation.
struct Curve {
  std::vector<double> x, y;
};

/// A value of the points around the one that is `below` the place looked for: two before it and
/// three after it. Points at the same place count once.
template <class Value>
Curve curve_around(const std::vector<Point>& points, std::size_t below, Value value) {
  const std::size_t first = below >= 2 ? below - 2 : 0;
  const std::size_t end = std::min(points.size(), below + 4);
  Curve curve;
  for (std::size_t i = first; i < end; ++i) {
    if (!curve.x.empty() && axis(points[i]) - curve.x.back() < 1e-6) continue;
    curve.x.push_back(axis(points[i]));
    curve.y.push_back(value(points[i]));
  }
  return curve;
}

/// The level at a place on the axis between the points `below` and the next.
[[nodiscard]] Estimate at_axis(const std::vector<Point>& points, std::size_t below, double x);

}  // namespace railtap::judge::criteria
