// SPDX-License-Identifier: MIT
// Tolerances that say what they mean. doctest's default Approx accepts 1e-5 as equal to 0, so a
// bare Approx is not used on levels.
#pragma once

#include <cmath>

namespace railtap::test {

/// |value − expected| <= tolerance, in the unit of the arguments; false for NaN.
[[nodiscard]] inline bool within_abs(double value, double expected, double tolerance) {
  return std::abs(value - expected) <= tolerance;
}

/// |value/expected − 1| <= tolerance; false for NaN or an expected 0.
[[nodiscard]] inline bool within_rel(double value, double expected, double tolerance) {
  return std::abs(value / expected - 1.0) <= tolerance;
}

/// |20·log10(value/expected)| <= tolerance_db, for amplitudes > 0.
[[nodiscard]] inline bool within_db(double value, double expected, double tolerance_db) {
  return std::abs(20.0 * std::log10(value / expected)) <= tolerance_db;
}

}  // namespace railtap::test
