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

TEST_CASE("marker: a stepped sine comes back with its frequencies, if they are third octaves") {
  const std::vector<Hertz> bass{Hertz(20), Hertz(25), Hertz(31.5), Hertz(40), Hertz(50)};
  const auto back =
      std::get<SteppedSine>(*announced_signal(announce(SteppedSine{bass, Dbfs(-20), Seconds(4)})));
  REQUIRE(back.frequencies.size() == bass.size());
  for (std::size_t k = 0; k < bass.size(); ++k)
    CHECK(test::within_rel(back.frequencies[k].value(), bass[k].value(), 1e-12));
  CHECK(test::within_abs(back.level.value(), -20.0, 1e-9));
  CHECK(back.dwell.value() == 4.0);
  const SteppedSine uneven{{Hertz(20), Hertz(50)}, Dbfs(-20), Seconds(4)};
  CHECK_THROWS_WITH_AS((void)announce(uneven), doctest::Contains("third octaves"), Error);
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
