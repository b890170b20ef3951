// SPDX-License-Identifier: MIT
// The corner of an AC-coupled chain, from responses of known filters.
#include "measure/coupling_corner.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <functional>
#include <vector>

#include "support/within.hpp"

using namespace railtap;
using measure::coupling_corner;
using measure::ResponsePoint;

namespace {

constexpr Hertz sweep_low{5.0};

std::vector<ResponsePoint> response(const std::function<double(double hz)>& loss_db) {
  std::vector<ResponsePoint> points;
  for (double hz = 5.0; hz < 19000.0; hz *= std::exp2(1.0 / 24.0)) {
    // Seven decibels of gain, which the corner does not care about.
    points.push_back({Hertz(hz), Decibels(7.0 - loss_db(hz)), 0.0, Decibels(0.01)});
  }
  return points;
}

// |H|² = 1/(1 + (corner/f)²), closed form.
double first_order_db(double corner_hz, double hz) {
  return 10.0 * std::log10(1.0 + std::pow(corner_hz / hz, 2.0));
}

TEST_CASE("coupling corner: a first-order high-pass is found from 1 to 10 Hz") {
  for (const double hz : {1.0, 2.5, 4.0, 10.0}) {
    CAPTURE(hz);
    const auto corner =
        coupling_corner(response([hz](double f) { return first_order_db(hz, f); }), sweep_low);
    REQUIRE(corner);
    CHECK(test::within_rel(corner->value(), hz, 0.001));
  }
}

TEST_CASE("coupling corner: two in series give the loss that both have where tones are measured") {
  const auto both = [](double f) { return first_order_db(3.0, f) + first_order_db(4.0, f); };
  const auto corner = coupling_corner(response(both), sweep_low);
  REQUIRE(corner);
  CHECK(test::within_abs(first_order_db(corner->value(), 50.0), both(50.0), 0.005));
}

TEST_CASE("coupling corner: none where nothing is missing, nor where it is no coupling") {
  CHECK_FALSE(coupling_corner(response([](double) { return 0.0; }), sweep_low));
  CHECK_FALSE(coupling_corner({}, sweep_low));
  // A bass boost, and a resonant dip at 60 Hz.
  CHECK_FALSE(
      coupling_corner(response([](double f) { return f < 100.0 ? -3.0 : 0.0; }), sweep_low));
  CHECK_FALSE(coupling_corner(
      response([](double f) { return std::abs(f - 60.0) < 15.0 ? 0.8 : 0.0; }), sweep_low));
  // Nothing measured where the middle is.
  auto low_only = response([](double f) { return first_order_db(4.0, f); });
  std::erase_if(low_only, [](const auto& point) { return point.frequency > Hertz(400.0); });
  CHECK_FALSE(coupling_corner(low_only, sweep_low));
}

}  // namespace
