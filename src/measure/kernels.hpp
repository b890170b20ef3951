// SPDX-License-Identifier: MIT
// The small loops under all measuring: correlation with a sine, multiples of an angle, the
// median, normal equations.
#pragma once

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

}  // namespace railtap::measure
