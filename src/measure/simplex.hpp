// SPDX-License-Identifier: MIT
// The simplex method of Nelder and Mead, for the few free figures of a model.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>

namespace railtap::measure {

/// A point and what the function is there.
template <std::size_t n>
struct SimplexPoint {
  std::array<double, n> at{};
  double value = 0.0;
};

/// Lowers a function of n numbers from a start [Nelder, Mead, Computer J. 7 (1965) 308, with their
/// coefficients 1, 2, 1/2, 1/2].
/// \param step  of the first simplex along each axis, not 0
/// \param rounds how many times a point is exchanged
template <std::size_t n, class Function>
[[nodiscard]] SimplexPoint<n> lower_by_simplex(const Function& function,
                                               const std::array<double, n>& start,
                                               const std::array<double, n>& step, int rounds) {
  using Point = SimplexPoint<n>;
  std::array<Point, n + 1> points;
  for (std::size_t i = 0; i <= n; ++i) {
    points[i].at = start;
    if (i > 0) points[i].at[i - 1] += step[i - 1];
    points[i].value = function(points[i].at);
  }
  const auto by_value = [](const Point& a, const Point& b) { return a.value < b.value; };
  std::array<double, n> centre{};
  // The worst point, moved along the line through the others' centre.
  const auto moved = [&](double factor) {
    Point next;
    for (std::size_t i = 0; i < n; ++i)
      next.at[i] = centre[i] + factor * (points[n].at[i] - centre[i]);
    next.value = function(next.at);
    return next;
  };
  for (int round = 0; round < rounds; ++round) {
    std::sort(points.begin(), points.end(), by_value);
    centre.fill(0.0);
    for (std::size_t p = 0; p < n; ++p)
      for (std::size_t i = 0; i < n; ++i) centre[i] += points[p].at[i] / static_cast<double>(n);
    const Point reflected = moved(-1.0);
    if (reflected.value < points[0].value) {
      const Point expanded = moved(-2.0);
      points[n] = expanded.value < reflected.value ? expanded : reflected;
    } else if (reflected.value < points[n - 1].value) {
      points[n] = reflected;
    } else {
      const Point contracted = moved(0.5);
      if (contracted.value < points[n].value) {
        points[n] = contracted;
        continue;
      }
      for (std::size_t p = 1; p <= n; ++p) {
        for (std::size_t i = 0; i < n; ++i)
          points[p].at[i] = 0.5 * (points[p].at[i] + points[0].at[i]);
        points[p].value = function(points[p].at);
      }
    }
  }
  return *std::min_element(points.begin(), points.end(), by_value);
}

}  // namespace railtap::measure
