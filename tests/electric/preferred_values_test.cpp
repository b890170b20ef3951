// SPDX-License-Identifier: MIT
// Preferred values against the published series.
#include "electric/preferred_values.hpp"

#include <doctest/doctest.h>

#include <algorithm>

#include "support/within.hpp"
#include "units/error.hpp"

using namespace railtap;
using namespace railtap::electric;

TEST_CASE("preferred values: E96 is the published list, 1.00 to 9.76") {
  const std::vector<int> published{
      100, 102, 105, 107, 110, 113, 115, 118, 121, 124, 127, 130, 133, 137, 140, 143,
      147, 150, 154, 158, 162, 165, 169, 174, 178, 182, 187, 191, 196, 200, 205, 210,
      215, 221, 226, 232, 237, 243, 249, 255, 261, 267, 274, 280, 287, 294, 301, 309,
      316, 324, 332, 340, 348, 357, 365, 374, 383, 392, 402, 412, 422, 432, 442, 453,
      464, 475, 487, 499, 511, 523, 536, 549, 562, 576, 590, 604, 619, 634, 649, 665,
      681, 698, 715, 732, 750, 768, 787, 806, 825, 845, 866, 887, 909, 931, 953, 976};
  const auto values = decade(Series::e96);
  REQUIRE(values.size() == published.size());
  for (std::size_t i = 0; i < published.size(); ++i) {
    CHECK(test::within_abs(values[i], published[i] / 100.0, 1e-12));
  }
}

TEST_CASE("preferred values: E24 keeps 4.3 and holds E12, which has 12 values") {
  const auto e24 = decade(Series::e24);
  CHECK(e24.size() == 24);
  CHECK(std::find(e24.begin(), e24.end(), 4.3) != e24.end());
  CHECK(decade(Series::e12).size() == 12);
  for (const double value : decade(Series::e12)) {
    CHECK(std::find(e24.begin(), e24.end(), value) != e24.end());
  }
}

TEST_CASE("preferred values: a range holds both its ends, across decades") {
  const auto values = values_between(Series::e12, Ohms(820.0), Ohms(1500.0));
  REQUIRE(values.size() == 4);
  CHECK(values.front() == Ohms(820.0));
  CHECK(values[1] == Ohms(1000.0));
  CHECK(values.back() == Ohms(1500.0));
  CHECK(values_between(Series::e24, Ohms(1000.0), Ohms(9999.0)).size() == 24);
}

TEST_CASE("preferred values: the next capacitor is the same one if it exists, else the next") {
  CHECK(at_least(Series::e3, Farads(4.7e-6)) == Farads(4.7e-6));
  CHECK(at_least(Series::e3, Farads(4.8e-6)) == Farads(10e-6));
  CHECK(at_least(Series::e3, Farads(1.0e-6)) == Farads(1e-6));
}

TEST_CASE("preferred values: a series is named E12, E24 or E96") {
  CHECK(parse_series("e24", "--series") == Series::e24);
  CHECK(parse_series("E96", "--series") == Series::e96);
  CHECK_THROWS_AS((void)parse_series("E48", "--series"), Error);
  CHECK_THROWS_AS((void)parse_series("", "--series"), Error);
}
