// SPDX-License-Identifier: MIT
// Turning an unknown gain control to where it should be.
#include "judge/turning.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "support/within.hpp"

using namespace railtap;

namespace {

/// How many turns it takes until less than 0.05 dB are missing on a control with this law.
template <class Law>
int turns_needed(Law gain_db, double start, double aim_db) {
  std::vector<judge::Turn> turns{{start, Decibels(aim_db - gain_db(start))}};
  while (std::abs(turns.back().missing.value()) > 0.05 && turns.size() < 20) {
    const double travel = next_travel(turns);
    turns.push_back({travel, Decibels(aim_db - gain_db(travel))});
  }
  return static_cast<int>(turns.size()) - 1;
}

}  // namespace

TEST_CASE("turning: the first turn assumes 25 dB over the whole travel") {
  CHECK(test::within_abs(judge::next_travel({{0.5, Decibels(-5.0)}}), 0.3, 1e-12));
}

TEST_CASE("turning: two turns give the line of a control that is even in decibels") {
  CHECK(turns_needed([](double t) { return 21.6 * t; }, 0.6, 3.0) <= 2);
  CHECK(turns_needed([](double t) { return 40.0 * t; }, 0.1, 30.0) <= 2);
}

TEST_CASE("turning: a linear potentiometer is met as well") {
  const auto linear = [](double t) { return 20.0 * std::log10(0.02 + t); };
  CHECK(turns_needed(linear, 0.9, -12.0) <= 6);
  CHECK(turns_needed(linear, 0.1, -3.0) <= 6);
}

TEST_CASE(
    "turning: never past the ends, and a control that does nothing is no reason to run away") {
  CHECK(judge::next_travel({{0.9, Decibels(20.0)}}) == 1.0);
  CHECK(judge::next_travel({{0.1, Decibels(-20.0)}}) == 0.0);
  const double next = judge::next_travel({{0.4, Decibels(2.0)}, {0.5, Decibels(2.0)}});
  CHECK(test::within_abs(next, 0.58, 1e-12));
}
