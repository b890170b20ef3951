// SPDX-License-Identifier: MIT
// The small loops under all measuring: correlation with a sine, multiples of an angle, the median,
// normal equations, and the simplex method for the few free figures of a model.
#pragma once

#include <algorithm>
#include <array>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

// Sanitizers run before the resolver that picks the variant can, so the sanitized build has one
// variant.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__) && defined(__OPTIMIZE__)
#define RAILTAP_VECTORIZE __attribute__((target_clones("default", "arch=x86-64-v3")))
#else
#define RAILTAP_VECTORIZE
#endif

namespace railtap::measure {

/// What a signal x has in common with a cosine (re) and a sine (im).
struct Correlation {
  double re = 0.0;  ///< Σ x·re
  double im = 0.0;  ///< Σ x·im
};

/// Sums over `count` samples; the order of summation, and so the last digits, depend on the
/// processor.
[[nodiscard]] Correlation correlate(const double* x, const double* re, const double* im,
                                    std::size_t count);

/// Orders that are worked on at once: their sums fit the processor's registers.
inline constexpr std::size_t orders_at_once = 4;

/// cos kθ and sin kθ of many angles θ, at the next order to be used and at the one before it: what
/// the recurrence cos (k+1)θ = 2·cos θ·cos kθ − cos (k−1)θ, and the same for the sine, needs
/// [Abramowitz and Stegun, 22.7.4 and 22.7.5 with x = cos θ]. Its rounding grows as k², to 1e−13 at
/// order 32.
struct MultipleAngles {
  std::vector<double> twice_cosine;  ///< 2·cos θ
  std::vector<double> cosine, cosine_before;
  std::vector<double> sine, sine_before;

  void resize(std::size_t count);
};

/// Back to order 1. \param cosine, sine of θ; arrays of `count` elements
void start_orders(const double* cosine, const double* sine, std::size_t count,
                  MultipleAngles& angles);

/// Σ even·cos kθ (as re) and Σ odd·sin kθ (as im) for four orders in a row; moves on by four.
/// \param even, odd of `count` elements
void correlate_four(const double* even, const double* odd, std::size_t count,
                    MultipleAngles& angles, std::array<Correlation, orders_at_once>& sums);

/// Solves a·x = b in place by Cholesky's method; b becomes x.
/// \param a symmetric and positive definite, n × n by rows; only its lower half is read
/// \param b of n elements
void solve_symmetric(std::vector<double>& a, std::vector<double>& b, std::size_t n);

/// Adds Re(c)·cos kθ to `even` and −Im(c)·sin kθ to `odd` for four orders in a row; moves on by
/// four. \param c of four elements; even, odd of `count`
void accumulate_four(const std::complex<double>* c, std::size_t count, MultipleAngles& angles,
                     double* even, double* odd);

/// The middle value, of an even number the higher of the two in the middle. \param values not empty
[[nodiscard]] double median(std::vector<double> values);

/// The same; leaves the values in another order.
[[nodiscard]] double median_reordering(std::span<double> values);

// The simplex method of Nelder and Mead, for the few free figures of a model.

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
