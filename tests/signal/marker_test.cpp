// SPDX-License-Identifier: MIT
// The marker's numbers survive packing, and a wrong symbol is noticed.
#include "signal/marker.hpp"

#include <doctest/doctest.h>

#include "support/within.hpp"
#include "units/error.hpp"

using namespace railtap;
using namespace railtap::signal;

namespace {

const LevelLadder ladder{Hertz(997), Dbfs(-40), Dbfs(0), Decibels(0.5), Seconds(1.2)};

}  // namespace

TEST_CASE("marker: a ladder comes back from its symbols") {
  const auto found = announced_signal(announce(ladder));
  REQUIRE(found.has_value());
  const auto& back = std::get<LevelLadder>(*found);
  CHECK(back.frequency.value() == 997.0);
  CHECK(test::within_abs(back.start.value(), -40.0, 1e-9));
  CHECK(test::within_abs(back.stop.value(), 0.0, 1e-9));
  CHECK(test::within_abs(back.step.value(), 0.5, 1e-9));
  CHECK(test::within_abs(back.dwell.value(), 1.2, 1e-9));
}

TEST_CASE("marker: sweep, polarity, pattern and silence come back too") {
  const auto sweep = std::get<LogSweep>(
      *announced_signal(announce(LogSweep{Hertz(20), Hertz(20000), Dbfs(-15.5), Seconds(20)})));
  CHECK(sweep.low.value() == 20.0);
  CHECK(sweep.high.value() == 20000.0);
  CHECK(test::within_abs(sweep.level.value(), -15.5, 1e-9));
  CHECK(sweep.length.value() == 20.0);
  const auto polarity = std::get<PolarityPulses>(
      *announced_signal(announce(PolarityPulses{Hertz(500), Dbfs(-12), Seconds(3)})));
  CHECK(polarity.fundamental.value() == 500.0);
  CHECK(std::get<ChannelPattern>(*announced_signal(announce(ChannelPattern{Dbfs(-15)})))
            .level.value() == doctest::Approx(-15.0));
  CHECK(std::get<Silence>(*announced_signal(announce(Silence{Seconds(5)}))).length.value() == 5.0);
}

TEST_CASE("marker: any single wrong symbol is noticed") {
  const MarkerData data = announce(ladder);
  for (std::size_t i = 0; i < data.size(); ++i) {
    for (std::uint8_t change = 1; change < 4; ++change) {
      MarkerData wrong = data;
      wrong[i] = static_cast<std::uint8_t>((wrong[i] + change) % 4);
      CHECK_FALSE(announced_signal(wrong).has_value());
    }
  }
}

TEST_CASE("marker: what it cannot carry is refused") {
  CHECK_THROWS_AS(
      (void)announce(LevelLadder{Hertz(1000), Dbfs(-40), Dbfs(0), Decibels(0.25), Seconds(1)}),
      Error);
  CHECK_THROWS_AS((void)announce(PinkNoise{Hertz(20), Hertz(20000), Dbfs(-20), Seconds(1)}), Error);
}
