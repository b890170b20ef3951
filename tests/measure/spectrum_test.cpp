// SPDX-License-Identifier: MIT
// The spectrum at its ends, the correlation for every length, and A-weighting against its table.
#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "measure/kernels.hpp"
#include "measure/spectrum.hpp"
#include "support/basics.hpp"

using namespace railtap::measure;
using railtap::test::within_rel;

TEST_CASE("spectrum: a constant fills the first bin, what alternates fills the last") {
  constexpr std::size_t length = 960;
  std::vector<double> constant(length, 0.5);
  std::vector<double> alternating(length);
  for (std::size_t n = 0; n < length; ++n) alternating[n] = n % 2 == 0 ? 0.5 : -0.5;
  Spectrum spectrum(length);
  spectrum.transform(constant);
  const double first = spectrum.mean_square(0);
  CHECK(first > 0.1);
  CHECK(spectrum.strongest(0, spectrum.bins() - 1) == 0);
  // Alternating signs move everything by half the rate; so the last bin has what the first had.
  spectrum.transform(alternating);
  CHECK(spectrum.strongest(0, spectrum.bins() - 1) == length / 2);
  CHECK(within_rel(spectrum.mean_square(length / 2), first, 1e-12));
  CHECK(spectrum.mean_square(0) < 1e-12 * first);
}

TEST_CASE("spectrum: the strongest bin is found wherever it is, the first of equals") {
  constexpr std::size_t length = 2400;  // several stretches of the search, and a part of one
  Spectrum spectrum(length);
  for (const std::size_t at :
       {std::size_t{7}, std::size_t{255}, std::size_t{256}, std::size_t{700}, std::size_t{1190}}) {
    std::vector<double> line(length);
    for (std::size_t n = 0; n < length; ++n) {
      line[n] = std::cos(2.0 * std::numbers::pi * static_cast<double>(at * n % length) / length);
    }
    spectrum.transform(line);
    CHECK(spectrum.strongest(3, spectrum.bins() - 1) == at);
    CHECK(spectrum.strongest(at, at) == at);
  }
  spectrum.transform(std::vector<double>(length, 0.0));
  CHECK(spectrum.strongest(5, 900) == 5);
}

TEST_CASE("correlate: every sample takes part, at even and odd lengths") {
  const std::vector<double> x{1.0, 2.0, 3.0, 4.0, 5.0};
  const std::vector<double> re{1.0, 10.0, 100.0, 1000.0, 10000.0};
  const std::vector<double> im{-1.0, 0.0, 0.0, 0.0, 2.0};
  const double sums[] = {0.0, 1.0, 21.0, 321.0, 4321.0, 54321.0};
  for (std::size_t count = 0; count <= x.size(); ++count) {
    const Correlation found = correlate(x.data(), re.data(), im.data(), count);
    CHECK(found.re == sums[count]);
    CHECK(found.im == (count == 0 ? 0.0 : count == 5 ? 9.0 : -1.0));
  }
}

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
