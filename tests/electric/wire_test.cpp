// SPDX-License-Identifier: MIT
// Cables: how sizes are written, and between the sizes of the tables.
#include "electric/wire.hpp"

#include <doctest/doctest.h>

#include "support/within.hpp"
#include "units/error.hpp"

using namespace railtap;
using electric::parse_gauge;

TEST_CASE("wire: sizes are read as they are written") {
  CHECK(parse_gauge("16mm2", "x").area == SquareMillimetres(16.0));
  CHECK(!parse_gauge("16mm2", "x").awg);
  for (const char* text : {"6AWG", "6 awg", "AWG 6", "awg6"})
    CHECK(parse_gauge(text, "x").awg == 6);
  CHECK(parse_gauge("0AWG", "x").awg == 0);
  CHECK(parse_gauge("1/0 AWG", "x").awg == 0);
  CHECK(parse_gauge("4/0AWG", "x").awg == -3);
  for (const char* text : {"", "6", "AWG", "5/0AWG", "0/0AWG", "41AWG", "-1AWG", "6.5AWG", "16m",
                           "16cm", "0mm2", "-4mm2", "4000mm2", "mm2"}) {
    CAPTURE(text);
    CHECK_THROWS_AS((void)parse_gauge(text, "x"), Error);
  }
}

TEST_CASE("wire: described sizes are read back") {
  CHECK(electric::describe(parse_gauge("16mm2", "x")) == "16 mm2");
  CHECK(electric::describe(parse_gauge("6AWG", "x")) == "6 AWG (13.3 mm2)");
  CHECK(electric::describe(parse_gauge("2/0AWG", "x")) == "2/0 AWG (67.4 mm2)");
}

TEST_CASE("wire: a cable stands what the table says, and in between something in between") {
  const auto at = [](double mm2) { return electric::cable_ampacity({SquareMillimetres(mm2), {}}); };
  CHECK(at(0.75) == Amperes(10.0));
  CHECK(at(16.0) == Amperes(90.0));
  CHECK(at(150.0) == Amperes(380.0));
  CHECK(!at(0.5));
  CHECK(!at(200.0));
  // Half way in the logarithm: the geometric mean of both.
  const auto between = at(20.0);
  REQUIRE(between);
  CHECK(test::within_rel(between->value(), 103.923, 1e-5));
}
