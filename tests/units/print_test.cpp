// SPDX-License-Identifier: MIT
// Printing quantities, their arithmetic, and small things with words.
#include <doctest/doctest.h>
#include <cmath>
#include <limits>
#include <random>

#include "support/basics.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"
#include "units/quantity.hpp"

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

TEST_CASE("print: 17 digits read back as the same double, from 1e-15 to 1e3") {
  std::mt19937_64 random(1);
  std::uniform_real_distribution<double> exponent(-15.0, 3.0);
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
  std::uniform_real_distribution<double> exponent(-9.0, 3.0);
  for (int i = 0; i < 500; ++i) {
    const double value = std::pow(10.0, exponent(random));
    CAPTURE(value);
    const double back = parse_quantity<Watts>(format_quantity(Watts(value)), "p").value();
    CHECK(test::within_rel(back, value, 0.5001e-3));
  }
}

using railtap::character_length;
using railtap::listed;
using railtap::trimmed;

TEST_CASE("text: blanks are taken off at either end, and only there") {
  CHECK(trimmed(" \t a b\r\n") == "a b");
  CHECK(trimmed(" \n").empty());
  CHECK(trimmed("").empty());
  CHECK(listed({"one", "two", "three"}) == "one, two, three");
  CHECK(listed({}).empty());
}

// Unicode 15, table 3-7, "Well-Formed UTF-8 Byte Sequences": the first and the last of every row,
// and what lies just outside.
TEST_CASE("text: a character ends where the Unicode table says") {
  for (const char* good : {"a", "\x7F"}) CHECK(character_length(good, 0) == 1);
  for (const char* good : {"\xC2\x80", "\xDF\xBF"}) CHECK(character_length(good, 0) == 2);
  for (const char* good : {"\xE0\xA0\x80", "\xE0\xBF\xBF", "\xE1\x80\x80", "\xEC\xBF\xBF",
                           "\xED\x80\x80", "\xED\x9F\xBF", "\xEE\x80\x80", "\xEF\xBF\xBF"}) {
    CHECK(character_length(good, 0) == 3);
  }
  for (const char* good : {"\xF0\x90\x80\x80", "\xF0\xBF\xBF\xBF", "\xF1\x80\x80\x80",
                           "\xF3\xBF\xBF\xBF", "\xF4\x80\x80\x80", "\xF4\x8F\xBF\xBF"}) {
    CHECK(character_length(good, 0) == 4);
  }
  for (const char* bad :
       {"\x80", "\xBF", "\xC0\x80", "\xC1\xBF", "\xC2", "\xC2\x7F", "\xC2\xC0", "\xE0\x9F\xBF",
        "\xED\xA0\x80", "\xED\xBF\xBF", "\xE1\x80", "\xE1\x80\x7F", "\xF0\x8F\xBF\xBF",
        "\xF4\x90\x80\x80", "\xF5\x80\x80\x80", "\xF1\x80\x80", "\xFF"}) {
    CHECK(character_length(bad, 0) == 0);
  }
  CHECK(character_length("a\xC3\xA9z", 1) == 2);
  CHECK(character_length("a\xC3\xA9z", 2) == 0);
}

using namespace railtap;

TEST_CASE("quantity: a ratio of ten is 20 dB in amplitude and 10 dB in power") {
  CHECK(test::within_abs(decibels_from_amplitude_ratio(10.0).value(), 20.0, 1e-12));
  CHECK(test::within_abs(decibels_from_power_ratio(10.0).value(), 10.0, 1e-12));
}

TEST_CASE("quantity: a full-scale sine has peak 1 at 0 dBFS, and -6.0206 dBFS halves it") {
  CHECK(test::within_abs(sine_peak(Dbfs(0.0)), 1.0, 1e-15));
  CHECK(test::within_abs(sine_peak(Dbfs(-6.020599913)), 0.5, 1e-9));
  CHECK(test::within_abs((Dbfs(-3.0) - Dbfs(-10.0)).value(), 7.0, 1e-12));
}

using railtap::shell_word;

TEST_CASE("text: a word of a shell is quoted where it needs it") {
  CHECK(shell_word("build/railtap") == "build/railtap");
  CHECK(shell_word("my van") == "'my van'");
  CHECK(shell_word("it's") == "'it'\\''s'");
  CHECK(shell_word("") == "''");
}
