// SPDX-License-Identifier: MIT
// Interpolation without overshoot.
#include "judge/interpolate.hpp"

#include <doctest/doctest.h>

#include <vector>

#include "support/within.hpp"

using namespace railtap::judge;
using railtap::test::within_abs;

TEST_CASE("monotone cubic: between inner points it is SciPy's PCHIP") {
  const std::vector<double> x{0.0, 1.0, 3.0, 4.0, 7.0};
  const std::vector<double> y{0.0, 1.0, 1.5, 4.0, 4.2};
  struct Value {
    double at, expected;
  };
  // scipy.interpolate.PchipInterpolator(x, y), SciPy 1.10; its slopes at the ends are others.
  for (const Value& v : {Value{1.5, 1.1517857142857142}, Value{2.0, 1.2321428571428572},
                         Value{2.9, 1.4532857142857138}, Value{3.25, 1.9537074228791775},
                         Value{3.8, 3.736257069408739}}) {
    CHECK(within_abs(monotone_cubic(x, y, v.at), v.expected, 1e-12));
  }
  for (std::size_t i = 0; i < x.size(); ++i) {
    CHECK(within_abs(monotone_cubic(x, y, x[i]), y[i], 1e-12));
  }
  CHECK(monotone_cubic(x, y, -3.0) == y.front());
  CHECK(monotone_cubic(x, y, 9.0) == y.back());
}

TEST_CASE("monotone cubic: it never leaves the range of its two points") {
  const std::vector<double> x{0.0, 1.0, 1.1, 5.0};
  const std::vector<double> y{0.0, 0.01, 10.0, 10.0};
  double before = 0.0;
  for (int i = 0; i <= 500; ++i) {
    const double value = monotone_cubic(x, y, 0.01 * i);
    CHECK(value >= before);
    CHECK(value <= 10.0 + 1e-12);
    before = value - 1e-12;
  }
}

TEST_CASE("bisect: a change of sign is found to a billionth of the distance") {
  const double root = bisect([](double x) { return x * x - 2.0; }, 0.0, 2.0);
  CHECK(within_abs(root, 1.4142135623730951, 4e-9));
}
