// SPDX-License-Identifier: MIT
// Third-octave frequencies are those that the standard prints.
#include "signal/third_octaves.hpp"

#include <doctest/doctest.h>

#include <array>

#include "support/within.hpp"

using namespace railtap;
using namespace railtap::signal;

TEST_CASE("third octaves: from 20 Hz on as ISO 266 rounds them") {
  // ISO 266:1997, table 1, third-octave column.
  constexpr std::array<double, 31> printed{20,   25,   31.5, 40,    50,    63,    80,   100,
                                           125,  160,  200,  250,   315,   400,   500,  630,
                                           800,  1000, 1250, 1600,  2000,  2500,  3150, 4000,
                                           5000, 6300, 8000, 10000, 12500, 16000, 20000};
  const auto bands = third_octaves(13, 31);
  REQUIRE(bands.size() == printed.size());
  for (std::size_t k = 0; k < bands.size(); ++k)
    CHECK(test::within_rel(bands[k].value(), printed[k], 1e-12));
  CHECK(first_third_octave(bands) == 13);
}

TEST_CASE("third octaves: what leaves the table, skips a band or is no band is none") {
  CHECK(third_octaves(13, 32).empty());
  CHECK(third_octaves(-1, 2).empty());
  CHECK_FALSE(first_third_octave(std::vector<Hertz>{}).has_value());
  CHECK_FALSE(first_third_octave(std::vector<Hertz>{Hertz(20), Hertz(31.5)}).has_value());
  CHECK_FALSE(first_third_octave(std::vector<Hertz>{Hertz(45)}).has_value());
  CHECK_FALSE(first_third_octave(std::vector<Hertz>{Hertz(0.5)}).has_value());
  CHECK(first_third_octave(std::vector<Hertz>{Hertz(63)}) == 18);
}
