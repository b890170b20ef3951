// SPDX-License-Identifier: MIT
// The A-weighting against the printed table at every nominal frequency.
#include "measure/weighting.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>

using namespace railtap;

namespace {

/// A row of IEC 61672-1:2013, table 3: the exact frequency is 1000·10^(n/10) Hz. The class 1 limits
/// are from memory; none below is 1000.
struct Row {
  int n;
  double a_db, above_db, below_db;
};
constexpr double none = 1000.0;
constexpr std::array<Row, 34> table{{
    {-20, -70.4, 3.0, none}, {-19, -63.4, 2.5, none}, {-18, -56.7, 2.0, 4.0},
    {-17, -50.5, 2.0, 2.0},  {-16, -44.7, 2.0, 1.5},  {-15, -39.4, 1.5, 1.5},
    {-14, -34.6, 1.0, 1.0},  {-13, -30.2, 1.0, 1.0},  {-12, -26.2, 1.0, 1.0},
    {-11, -22.5, 1.0, 1.0},  {-10, -19.1, 1.0, 1.0},  {-9, -16.1, 1.0, 1.0},
    {-8, -13.4, 1.0, 1.0},   {-7, -10.9, 1.0, 1.0},   {-6, -8.6, 1.0, 1.0},
    {-5, -6.6, 1.0, 1.0},    {-4, -4.8, 1.0, 1.0},    {-3, -3.2, 1.0, 1.0},
    {-2, -1.9, 1.0, 1.0},    {-1, -0.8, 1.0, 1.0},    {0, 0.0, 0.7, 0.7},
    {1, 0.6, 1.0, 1.0},      {2, 1.0, 1.0, 1.0},      {3, 1.2, 1.0, 1.0},
    {4, 1.3, 1.0, 1.0},      {5, 1.2, 1.0, 1.0},      {6, 1.0, 1.0, 1.0},
    {7, 0.5, 1.5, 1.5},      {8, -0.1, 1.5, 2.0},     {9, -1.1, 1.5, 2.5},
    {10, -2.5, 2.0, 3.0},    {11, -4.3, 2.0, 5.0},    {12, -6.6, 2.5, 16.0},
    {13, -9.3, 3.0, none},
}};

}  // namespace

TEST_CASE("A-weighting: the printed table at every nominal frequency, 10 Hz to 20 kHz") {
  for (const Row& row : table) {
    CAPTURE(row.n);
    const double found = measure::a_weighting(Hertz(1000.0 * std::pow(10.0, row.n / 10.0))).value();
    CHECK(found <= row.a_db + row.above_db);
    CHECK(found >= row.a_db - row.below_db);
    // The curve is the design goal itself: only the table's rounding to 0.1 dB is between them.
    CHECK(std::abs(found - row.a_db) <= 0.0501);
  }
}
