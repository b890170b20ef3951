// SPDX-License-Identifier: MIT
// The hand on a control of the virtual rig.
#include "rig/player.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "rig/description.hpp"
#include "support/within.hpp"

using namespace railtap;
using namespace railtap::rig;
using namespace railtap::test;

namespace {

constexpr double rate = 48000.0;

std::vector<double> way(const HandSetting& setting, std::uint64_t seed, double wanted_db,
                        double seconds) {
  Hand hand(setting, seed, Hertz(rate), Decibels(-20.0));
  std::vector<double> gains(static_cast<std::size_t>(seconds * rate));
  hand.fill(gains, Decibels(wanted_db));
  for (double& gain : gains) gain = 20.0 * std::log10(gain);
  return gains;
}

// The steepest rise over 10 ms, dB/s.
double fastest(const std::vector<double>& level) {
  constexpr std::size_t reach = 480;
  double most = 0.0;
  for (std::size_t n = 0; n + reach < level.size(); ++n) {
    most = std::max(most, std::abs(level[n + reach] - level[n]) / 0.01);
  }
  return most;
}

// Seconds in which it hardly moves, on its way.
double resting(const std::vector<double>& level, double wanted_db) {
  constexpr std::size_t reach = 480;
  double seconds = 0.0;
  for (std::size_t n = 0; n + reach < level.size(); n += reach) {
    const bool there = std::abs(level[n] - wanted_db) < 0.1;
    if (!there && std::abs(level[n + reach] - level[n]) < 0.001) seconds += 0.01;
  }
  return seconds;
}

}  // namespace

TEST_CASE("hand: even, it goes with its speed and stays where it arrives") {
  HandSetting setting;
  setting.speed_db_per_s = 5.0;
  const auto level = way(setting, 1, -10.0, 3.0);
  CHECK(within_abs(level.back(), -10.0, 1e-6));
  CHECK(within_abs(fastest(level), 5.0, 0.05));
  CHECK(within_abs(level[static_cast<std::size_t>(1.0 * rate)], -15.1, 0.15));  // it has to start
  CHECK(within_abs(way(setting, 1, -26.0, 3.0).back(), -26.0, 1e-6));
}

TEST_CASE("hand: uneven, it stays between half and twice its speed; the seed decides the way") {
  HandSetting setting;
  setting.speed_db_per_s = 5.0;
  setting.unevenness = Percent(100.0);
  const auto level = way(setting, 1, 10.0, 4.0);
  CHECK(fastest(level) > 6.0);
  CHECK(fastest(level) <= 10.05);
  CHECK(level == way(setting, 1, 10.0, 4.0));
  CHECK(level != way(setting, 2, 10.0, 4.0));
}

TEST_CASE("hand: it rests on the way where it is told to") {
  HandSetting setting;
  setting.speed_db_per_s = 10.0;
  CHECK(resting(way(setting, 3, 0.0, 6.0), 0.0) < 0.03);
  setting.pause_every = Decibels(4.0);
  setting.pause = Seconds(0.5);
  const auto level = way(setting, 3, 0.0, 8.0);
  CHECK(resting(level, 0.0) > 0.5);
  CHECK(within_abs(level.back(), 0.0, 1e-6));
}
