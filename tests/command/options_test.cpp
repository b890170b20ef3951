// SPDX-License-Identifier: MIT
// Options with units: values arrive in their unit, mistakes are errors that name the option.
#include "command/options.hpp"

#include <doctest/doctest.h>

#include <string>
#include <vector>

#include "units/error.hpp"

using namespace railtap;

namespace {

struct Parsed {
  std::optional<Watts> power;
  Dbfs level{0.0};
};

Parsed parse(std::vector<std::string> words) {
  CLI::App app;
  Parsed parsed;
  command::add_quantity(app, "-p,--power", parsed.power, "rated power");
  command::add_quantity(app, "--tone-level", parsed.level, "level of the tone");
  app.parse(std::vector<std::string>(words.rbegin(), words.rend()));  // CLI11 wants them reversed
  return parsed;
}

}  // namespace

TEST_CASE("options: a value with its unit arrives, and a default stays") {
  const auto parsed = parse({"--power", "55W"});
  REQUIRE(parsed.power.has_value());
  CHECK(*parsed.power == Watts(55.0));
  CHECK(parsed.level == Dbfs(0.0));
}

TEST_CASE("options: a negative level is a value, not an option") {
  CHECK(parse({"--tone-level", "-5dB"}).level == Dbfs(-5.0));
  CHECK(parse({"--tone-level=-5dB"}).level == Dbfs(-5.0));
  CHECK(parse({"--tone-level", "-.5dB"}).level == Dbfs(-0.5));
}

TEST_CASE("options: a wrong unit is an error whose place is the long name") {
  try {
    parse({"-p", "4ohm"});
    FAIL("accepted");
  } catch (const Error& error) {
    CHECK(std::string(error.what()) ==
          "--power: \"4ohm\" is in ohms, not in watts; write it like 55W");
  }
}
