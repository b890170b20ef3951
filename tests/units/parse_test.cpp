// SPDX-License-Identifier: MIT
// Reading quantities: what people type is understood, what they mistype is refused with its reason.
#include "units/parse.hpp"

#include <doctest/doctest.h>

#include <array>
#include <clocale>
#include <limits>
#include <locale>
#include <string>

#include "units/error.hpp"
#include "units/print.hpp"

using namespace railtap;

namespace {

template <class Q>
double parsed(std::string_view text) {
  return parse_quantity<Q>(text, "--value").value();
}

template <class Q>
std::string refusal(std::string_view text) {
  try {
    (void)parse_quantity<Q>(text, "--value");
  } catch (const Error& error) {
    CHECK(error.place() == "--value");
    CHECK_FALSE(error.remedy().empty());
    return error.problem();
  }
  return "accepted";
}

template <class Q>
std::string remedy(std::string_view text) {
  try {
    (void)parse_quantity<Q>(text, "--value");
  } catch (const Error& error) {
    return error.remedy();
  }
  return "accepted";
}

}  // namespace

TEST_CASE("parse: every unit reads its own example, exactly") {
  CHECK(parsed<Watts>("55W") == 55.0);
  CHECK(parsed<Ohms>("4ohm") == 4.0);
  CHECK(parsed<Volts>("14.2V") == 14.2);
  CHECK(parsed<Volts>("350mV") == 0.35);
  CHECK(parsed<Decibels>("-5dB") == -5.0);
  CHECK(parsed<Dbfs>("-5dBFS") == -5.0);
  CHECK(parsed<Dbfs>("-5dB") == -5.0);
  CHECK(parsed<Hertz>("1kHz") == 1000.0);
  CHECK(parsed<Seconds>("0.5s") == 0.5);
  CHECK(parsed<Seconds>("500ms") == 0.5);
  CHECK(parsed<Metres>("3m") == 3.0);
  CHECK(parsed<Metres>("35cm") == 0.35);
  CHECK(parsed<SquareMillimetres>("16mm2") == 16.0);
  CHECK(parsed<SquareMillimetres>("16 mm²") == 16.0);
  CHECK(parsed<Percent>("1%") == 1.0);
  CHECK(parsed<Farads>("10uF") == 10e-6);
  CHECK(parsed<Amperes>("20A") == 20.0);
}

TEST_CASE("parse: a number alone has the unit of the option") {
  CHECK(parsed<Ohms>("4") == 4.0);
  CHECK(parsed<Decibels>("-0.25") == -0.25);
  CHECK(parsed<Volts>("1.5e1") == 15.0);
  CHECK(parsed<Volts>("+.5") == 0.5);
}

TEST_CASE("parse: resistors are read in every common spelling") {
  CHECK(parsed<Ohms>("39k") == 39000.0);
  CHECK(parsed<Ohms>("39kohm") == 39000.0);
  CHECK(parsed<Ohms>("39 K OHM") == 39000.0);
  CHECK(parsed<Ohms>("4Ω") == 4.0);
  CHECK(parsed<Ohms>("4.7kΩ") == 4700.0);
  CHECK(parsed<Ohms>("4k7") == 4700.0);
  CHECK(parsed<Ohms>("4K7ohm") == 4700.0);
  CHECK(parsed<Ohms>("4R7") == 4.7);
  CHECK(parsed<Ohms>("4R") == 4.0);
  CHECK(parsed<Ohms>("1M") == 1e6);
  CHECK(parsed<Ohms>("20mohm") == 0.02);
  CHECK(parsed<Farads>("2u2") == 2.2e-6);
  CHECK(parsed<Farads>("22n") == 22e-9);
}

TEST_CASE("parse: spaces and typographic characters are allowed") {
  CHECK(parsed<Watts>("  55 W ") == 55.0);
  CHECK(parsed<Decibels>("−5 dB") == -5.0);
  CHECK(parsed<Farads>("10 µF") == 10e-6);
  CHECK(parsed<Farads>("10 μF") == 10e-6);
  CHECK(parsed<Volts>("14.2\u00a0V") == 14.2);
}

TEST_CASE("parse: case does not matter, except between milli and mega") {
  CHECK(parsed<Hertz>("1KHZ") == 1000.0);
  CHECK(parsed<Watts>("55w") == 55.0);
  CHECK(parsed<Decibels>("3DB") == 3.0);
  CHECK(parsed<Hertz>("1MHz") == 1e6);
  CHECK(refusal<Hertz>("1mHz") == "\"1mHz\" ends in \"mHz\", which is no unit for hertz");
  CHECK(refusal<Volts>("350MV") == "\"350MV\" ends in \"MV\", which is no unit for volts");
}

TEST_CASE("parse: another unit is named in the refusal") {
  CHECK(refusal<Ohms>("4V") == "\"4V\" is in volts, not in ohms");
  CHECK(refusal<Watts>("4 ohm") == "\"4 ohm\" is in ohms, not in watts");
  CHECK(refusal<Decibels>("-5dBFS") == "\"-5dBFS\" is in dBFS, not in decibels");
  CHECK(refusal<Volts>("4k") == "\"4k\" ends in \"k\", which is no unit for volts");
}

TEST_CASE("parse: milli is never guessed, since 3m may be metres or minutes") {
  CHECK(refusal<Volts>("350m") != "accepted");
  CHECK(refusal<Seconds>("3m") != "accepted");
  CHECK(parsed<Metres>("3m") == 3.0);
}

TEST_CASE("parse: what is no number is refused") {
  CHECK(refusal<Volts>("") == "no value is given");
  CHECK(refusal<Volts>("   ") == "no value is given");
  for (const auto* text : {"V", "abc", "nan", "inf", "-inf", "-", "+", "+-3V", "--3V", ".", "e5"}) {
    CAPTURE(text);
    CHECK(refusal<Volts>(text) != "accepted");
  }
}

TEST_CASE("parse: rubbish behind the unit is refused") {
  for (const auto* text : {"14.2V5", "14.2V 3", "14.2 V V", "14.2;", "0x10", "14.2mmV", "1 2V"}) {
    CAPTURE(text);
    CHECK(refusal<Volts>(text) != "accepted");
  }
}

TEST_CASE("parse: units as meters and plates have them") {
  for (const auto* text : {"55Wrms", "55 W RMS", "55 watts rms"})
    CHECK(parsed<Watts>(text) == 55.0);
  for (const auto* text :
       {"14.1VAC", "14.1 V AC", "14.1 Vrms", "14.1 vac rms", "14.1V~", "14.1VDC"})
    CHECK(parsed<Volts>(text) == 14.1);
  CHECK(parsed<Volts>("350mVAC") == 0.35);
  CHECK(refusal<Ohms>("4Wrms") == "\"4Wrms\" is in watts, not in ohms");
}

TEST_CASE("parse: a comma is refused, and what to write instead is told") {
  CHECK(refusal<Volts>("14,2V") == "\"14,2V\" has a comma for the decimal point");
  CHECK(remedy<Volts>("14,2V") == "write 14.2V");
  CHECK(remedy<Volts>("-0,200 V") == "write -0.200 V");
  CHECK(refusal<Watts>("1,200W") == "\"1,200W\" can be read in two ways");
  CHECK(remedy<Watts>("1,200W") == "write 1200W or 1.200W, whichever is meant");
  CHECK(remedy<Watts>("1,200,000W") == "write 1200000W");
  CHECK(remedy<Watts>("1,200.5W") == "write 1200.5W");
  CHECK(remedy<Watts>("1.200,5W") == "write 1200.5W");
  CHECK(remedy<Watts>("1234,567W") == "write 1234.567W");
  CHECK(remedy<Watts>("1 200W") == "write 1200W, if that is meant");
}

TEST_CASE("parse: a number too large for its unit is refused in a short sentence") {
  CHECK(refusal<Watts>("1e308W") == "\"1e308W\" is too large for watts");
  CHECK(refusal<Volts>("-2e6") == "\"-2e6\" is too large for volts");
  CHECK(refusal<Volts>(std::string(400, '9') + "V") == "the number is out of the range of numbers");
  CHECK(refusal<Volts>(std::string(100, '9') + "V") == "the number is too large for volts");
  CHECK(parsed<Watts>("1e6W") == 1e6);
  CHECK(format_quantity(Watts(1e308)) == "1e+308 W");
  CHECK(format_fixed(Watts(1e308), 1) == "1e+308 W");
  CHECK(format_quantity(Volts(1.5e-300)) == "1.5e-300 V");
}

TEST_CASE("parse: numbers beyond a double are refused, also after the prefix") {
  CHECK(refusal<Volts>("1e999V") == "\"1e999V\" is out of the range of numbers");
  CHECK(refusal<Ohms>("1e308kohm") == "\"1e308kohm\" is out of the range of numbers");
  CHECK(refusal<Farads>("1e-320pF") == "\"1e-320pF\" is out of the range of numbers");
}

TEST_CASE("parse: the locale's decimal sign changes nothing") {
  struct Comma : std::numpunct<char> {
    char do_decimal_point() const override { return ','; }
  };
  const std::string c_before = std::setlocale(LC_ALL, nullptr);
  const std::locale before = std::locale::global(std::locale(std::locale::classic(), new Comma));
  std::setlocale(LC_ALL, "de_DE.UTF-8");  // where it is installed
  CHECK(parsed<Volts>("14.2V") == 14.2);
  CHECK(format_quantity(Volts(14.2)) == "14.2 V");
  std::locale::global(before);
  std::setlocale(LC_ALL, c_before.c_str());
}

TEST_CASE("range: zero and below are refused where only more makes sense") {
  CHECK(require_positive(Ohms(4.0), "--load") == Ohms(4.0));
  CHECK_THROWS_AS(require_positive(Ohms(0.0), "--load"), Error);
  CHECK_THROWS_AS(require_positive(Ohms(-1.0), "--load"), Error);
  CHECK_THROWS_AS(require_positive(Ohms(std::numeric_limits<double>::quiet_NaN()), "--load"),
                  Error);
  CHECK_THROWS_AS(require_positive(Ohms(std::numeric_limits<double>::infinity()), "--load"), Error);
  CHECK(require_not_negative(Seconds(0.0), "--wait") == Seconds(0.0));
  CHECK_THROWS_AS(require_not_negative(Seconds(-0.1), "--wait"), Error);
}

TEST_CASE("range: both ends are allowed, beyond them the allowed range is told") {
  CHECK(require_within(Dbfs(0.0), Dbfs(-20.0), Dbfs(0.0), "--tone-level") == Dbfs(0.0));
  try {
    require_within(Dbfs(3.0), Dbfs(-20.0), Dbfs(0.0), "--tone-level");
    FAIL("accepted");
  } catch (const Error& error) {
    CHECK(std::string(error.what()) ==
          "--tone-level: 3 dBFS is out of range; give a value from -20 dBFS to 0 dBFS");
  }
}
