// SPDX-License-Identifier: MIT
// Flat peaks in music: found at the level of the rail, and not where a limiter or a soft clipper
// was at work. What is right comes from how the recording was made.
#include "measure/flat_peaks.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <utility>
#include <vector>

#include "support/made_music.hpp"
#include "support/within.hpp"

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;

namespace {

constexpr double rate = 48000.0;

std::pair<FlatPeaks, FlatPeaks> peaks_of(const std::vector<double>& x, std::size_t block = 4096) {
  const auto [lowest, highest] = std::minmax_element(x.begin(), x.end());
  PeakShapes shapes(Hertz(rate), *lowest, *highest);
  for (std::size_t at = 0; at < x.size(); at += block)
    shapes.add(x.data() + at, 1, std::min(block, x.size() - at));
  return {shapes.positive(), shapes.negative()};
}

}  // namespace

TEST_CASE("flat peaks: music cut by 3 dB on either rail has them, at the rail") {
  Random random(7);
  const auto music = made_music(random, rate, 8.0);
  PlayedChain chain{0.5, 0.708, 0.708, 5.0, 1e-4, 16};
  const auto [up, down] = peaks_of(recorded_through(chain, music, rate, random));
  CHECK(up.evidence > 6.0);
  CHECK(down.evidence > 6.0);
  // The tops of one rail may scatter by 5 %: a coupling between two corners tried leaves drift.
  CHECK(within_rel(up.level, 0.354, 0.05));
  CHECK(within_rel(down.level, 0.354, 0.05));
  CHECK(up.longest > Seconds(0.0));
}

TEST_CASE("flat peaks: music that is not cut has none, mastered or not") {
  for (const auto mastering : {Mastering::none, Mastering::limiter, Mastering::soft_clipper}) {
    Random random(8);
    const auto music = mastered(random, made_music(random, rate, 8.0), rate, mastering);
    const auto [up, down] = peaks_of(recorded_through({}, music, rate, random));
    CHECK(up.evidence < 3.0);
    CHECK(down.evidence < 3.0);
  }
}

TEST_CASE("flat peaks: a rail on one side is found on that side") {
  Random random(9);
  const auto music = made_music(random, rate, 8.0);
  const auto [up, down] =
      peaks_of(recorded_through({0.5, 0.5, std::nullopt, 2.0, 1e-4, 24}, music, rate, random));
  CHECK(up.evidence > 6.0);
  CHECK(down.evidence < 3.0);
}

TEST_CASE("flat peaks: how the stream is cut into blocks makes no difference") {
  Random random(10);
  const auto music = made_music(random, rate, 2.0);
  const auto x = recorded_through({0.5, 0.6, 0.6, 10.0, 1e-4, 16}, music, rate, random);
  const auto [up, down] = peaks_of(x, 4096);
  const auto [up_again, down_again] = peaks_of(x, 7);
  CHECK(up.evidence == up_again.evidence);
  CHECK(up.flat == up_again.flat);
  CHECK(down.level == down_again.level);
}

TEST_CASE("flat peaks: silence and a handful of samples have no peaks") {
  const auto [up, down] = peaks_of(std::vector<double>(20, 0.0));
  CHECK(up.all == 0);
  CHECK(down.evidence == 0.0);
}
