// SPDX-License-Identifier: MIT
// Printing quantities: digits that mean something, prefixes that suit, and a way back.
#include "units/print.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <random>

#include "support/within.hpp"
#include "units/parse.hpp"

using namespace railtap;

TEST_CASE("print: four digits and the prefix that suits") {
  CHECK(format_quantity(Volts(std::sqrt(200.0))) == "14.14 V");
  CHECK(format_quantity(Volts(0.35)) == "350 mV");
  CHECK(format_quantity(Ohms(39000.0)) == "39 kohm");
  CHECK(format_quantity(Ohms(4.0)) == "4 ohm");
  CHECK(format_quantity(Farads(10e-6)) == "10 uF");
  CHECK(format_quantity(Farads(4700e-6)) == "4700 uF");
  CHECK(format_quantity(Hertz(997.0)) == "997 Hz");
  CHECK(format_quantity(Hertz(48000.0)) == "48 kHz");
  CHECK(format_quantity(Watts(1500.0)) == "1500 W");
  CHECK(format_quantity(Seconds(0.5)) == "500 ms");
  CHECK(format_quantity(Percent(0.1)) == "0.1 %");
  CHECK(format_quantity(Volts(0.58e-6)) == "580 nV");
  CHECK(format_quantity(Volts(1e-12)) == "0.001 nV");
}

TEST_CASE("print: rounding carries into the next prefix") {
  CHECK(format_quantity(Volts(0.99999)) == "1 V");
  CHECK(format_quantity(Ohms(999.96)) == "1 kohm");
  CHECK(format_quantity(Volts(9.9999), 3, Zeros::keep) == "10.0 V");
}

TEST_CASE("print: measured values keep their last zeros, rated ones lose them") {
  CHECK(format_quantity(Volts(14.1), 4, Zeros::keep) == "14.10 V");
  CHECK(format_quantity(Volts(14.1), 4) == "14.1 V");
  CHECK(format_quantity(Watts(100.0), 2, Zeros::keep) == "100 W");
}

TEST_CASE("print: zero, signs and what is not finite") {
  CHECK(format_quantity(Volts(0.0)) == "0 V");
  CHECK(format_quantity(Volts(-0.0)) == "0 V");
  CHECK(format_quantity(Decibels(-5.0)) == "-5 dB");
  CHECK(format_quantity(Volts(std::numeric_limits<double>::quiet_NaN())) == "unknown");
  CHECK(format_fixed(Decibels(std::numeric_limits<double>::infinity()), 2) == "unknown");
}

TEST_CASE("print: fixed decimals, with a plus sign where asked, and no minus zero") {
  CHECK(format_fixed(Decibels(-5.0), 2) == "-5.00 dB");
  CHECK(format_fixed(Decibels(1.204), 2, Sign::always) == "+1.20 dB");
  CHECK(format_fixed(Decibels(-0.001), 2, Sign::always) == "0.00 dB");
  CHECK(format_fixed(Decibels(0.001), 2, Sign::always) == "0.00 dB");
  CHECK(format_fixed(Volts(1234.5), 1) == "1234.5 V");
}

TEST_CASE("print: 17 digits read back as the same double, from 1e-15 to 1e9") {
  std::mt19937_64 random(1);
  std::uniform_real_distribution<double> exponent(-15.0, 9.0);
  for (int i = 0; i < 2000; ++i) {
    const double value = std::pow(10.0, exponent(random)) * (i % 2 == 0 ? 1.0 : -1.0);
    CAPTURE(value);
    // A prefix costs one rounding in each direction.
    const auto same = [&](double back) { return test::within_rel(back, value, 4e-16); };
    CHECK(same(parse_quantity<Volts>(format_quantity(Volts(value), 17), "v").value()));
    CHECK(same(parse_quantity<Ohms>(format_quantity(Ohms(value), 17), "r").value()));
    CHECK(same(parse_quantity<Farads>(format_quantity(Farads(value), 17), "c").value()));
    CHECK(same(parse_quantity<Hertz>(format_quantity(Hertz(value), 17), "f").value()));
    CHECK(same(parse_quantity<Dbfs>(format_quantity(Dbfs(value), 17), "l").value()));
    CHECK(same(parse_quantity<Metres>(format_quantity(Metres(value), 17), "d").value()));
  }
}

TEST_CASE("print: four digits read back within half of the last digit") {
  std::mt19937_64 random(2);
  std::uniform_real_distribution<double> exponent(-9.0, 6.0);
  for (int i = 0; i < 500; ++i) {
    const double value = std::pow(10.0, exponent(random));
    CAPTURE(value);
    const double back = parse_quantity<Watts>(format_quantity(Watts(value)), "p").value();
    CHECK(test::within_rel(back, value, 0.5001e-3));
  }
}
