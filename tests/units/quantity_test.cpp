// SPDX-License-Identifier: MIT
// Quantities: arithmetic keeps its unit.
#include <doctest/doctest.h>

#include "support/within.hpp"
#include "units/quantity.hpp"

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
