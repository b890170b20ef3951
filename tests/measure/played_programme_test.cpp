// SPDX-License-Identifier: MIT
// A recording beside the track that was played: place, clock, polarity, side and rails, as the
// recording was made.
#include "measure/played_programme.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <vector>

#include "support/basics.hpp"
#include "support/made_music.hpp"

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;

namespace {

constexpr double rate = 48000.0;

OpenStream stream_of(std::vector<double> interleaved, int channels) {
  auto samples = std::make_shared<std::vector<double>>(std::move(interleaved));
  return [samples, channels] {
    auto place = std::make_shared<std::size_t>(0);
    return FrameStream{Hertz(rate), channels, [=](std::span<double> out) {
                         const std::size_t count = std::min(out.size(), samples->size() - *place);
                         std::copy_n(samples->begin() + static_cast<std::ptrdiff_t>(*place), count,
                                     out.begin());
                         *place += count;
                         return count / static_cast<std::size_t>(channels);
                       }};
  };
}

double highest_of(const std::vector<double>& x) {
  double highest = 0.0;
  for (const double v : x) highest = std::max(highest, std::abs(v));
  return highest;
}

std::optional<PlayedMeasurement> measured(const std::vector<double>& recorded,
                                          const OpenStream& track) {
  return measure_played(stream_of(recorded, 1), 0, static_cast<std::int64_t>(recorded.size()),
                        highest_of(recorded), track);
}

/// Silence in front, and the other polarity.
std::vector<double> late_and_inverted(const std::vector<double>& x, std::size_t late) {
  std::vector<double> y(late, 0.0);
  for (const double v : x) y.push_back(-v);
  return y;
}

void check_rails(const AddedClipping& clipping, double positive, double negative) {
  REQUIRE(clipping.positive.flat);
  REQUIRE(clipping.negative.flat);
  CHECK(within_db(clipping.positive.level, positive, 0.1));
  CHECK(within_db(clipping.negative.level, negative, 0.1));
}

}  // namespace

TEST_CASE("played programme: rails, delay and polarity of a chain are found, and nothing else") {
  Random random(21);
  const auto music = made_music(random, rate, 7.0);
  const PlayedChain chain{0.5, 0.7, 0.8, 8.0, 3e-5, 24};
  const auto recorded = recorded_through(chain, late_and_inverted(music, 12345), rate, random);
  const auto found = measured(recorded, stream_of(music, 1));
  REQUIRE(found);
  CHECK(found->inverted);
  CHECK(within_abs(found->delay.value(), 12345.0 / rate, 1e-5));
  CHECK(within_abs(found->clock_ratio, 1.0, 2e-7));
  CHECK(within_db(found->gain, 0.5, 0.2));
  check_rails(found->clipping, 0.35, 0.40);
}

TEST_CASE("played programme: a recording that begins within the track is explained as well") {
  Random random(24);
  const auto music = made_music(random, rate, 7.0);
  const PlayedChain chain{0.5, {}, {}, 20.0, 1e-5, 24};
  auto recorded = recorded_through(chain, music, rate, random);
  recorded.erase(recorded.begin(), recorded.begin() + 100000);
  const auto found = measured(recorded, stream_of(music, 1));
  REQUIRE(found);
  CHECK(within_abs(found->delay.value(), -100000.0 / rate, 1e-5));
  // What was played before the recording began would leave -55 dB.
  CHECK(20.0 * std::log10(found->clipping.residual) < -65.0);
  CHECK(20.0 * std::log10(found->clipping.departure) < -65.0);
}

TEST_CASE("played programme: a limited track through a linear chain is not clipped by it") {
  Random random(22);
  const auto music = mastered(random, made_music(random, rate, 7.0), rate, Mastering::limiter);
  const auto recorded = recorded_through({0.5, {}, {}, 8.0, 3e-5, 24}, music, rate, random);
  const auto found = measured(recorded, stream_of(music, 1));
  REQUIRE(found);
  CHECK_FALSE(found->clipping.positive.flat);
  CHECK_FALSE(found->clipping.negative.flat);
  CHECK(found->clipping.residual < 0.003);
}

TEST_CASE("played programme: the side of a track that a channel carries is found") {
  Random random(23);
  const auto left = made_music(random, rate, 7.0), right = made_music(random, rate, 7.0);
  std::vector<double> both, sum;
  for (std::size_t n = 0; n < left.size(); ++n) {
    both.insert(both.end(), {left[n], right[n]});
    sum.push_back(0.5 * (left[n] + right[n]));
  }
  const OpenStream track = stream_of(both, 2);
  const auto side = [&](const std::vector<double>& x) {
    return measured(recorded_through({}, x, rate, random), track)->side;
  };
  CHECK(side(left) == PlayedSide::left);
  CHECK(side(right) == PlayedSide::right);
  CHECK(side(sum) == PlayedSide::sum);
}

TEST_CASE("played programme: another piece of music is not found") {
  Random random(24);
  const auto music = made_music(random, rate, 7.0), other = made_music(random, rate, 7.0);
  const auto found = measured(recorded_through({}, music, rate, random), stream_of(other, 1));
  if (found) CHECK(found->clipping.residual > 0.1);
}

TEST_CASE("played programme: a bass amplifier's track and rails are found behind its low-pass") {
  Random random(25);
  const auto music = made_music(random, rate, 7.0);
  PlayedChain chain{0.5, 0.7, 0.7, 8.0, 1e-4, 24};
  chain.low_pass = {Hertz(80.0), 2};
  chain.low_passes = 2;
  const auto recorded = recorded_through(chain, late_and_inverted(music, 12345), rate, random);
  const auto found = measured(recorded, stream_of(music, 1));
  REQUIRE(found);
  CHECK(found->inverted);
  // A Linkwitz-Riley low-pass of 80 Hz has risen to a third 3 ms after it was struck.
  CHECK(within_abs(found->delay.value(), 12345.0 / rate, 4e-3));
  CHECK(within_abs(found->clock_ratio, 1.0, 1e-6));
  check_rails(found->clipping, 0.35, 0.35);
}

TEST_CASE("played programme: what clipping in front of a low-pass would leave is small") {
  Random random(26);
  const auto music = made_music(random, rate, 7.0);
  PlayedChain chain{0.5, {}, {}, 8.0, 1e-4, 24};
  const auto wide = measured(recorded_through(chain, music, rate, random), stream_of(music, 1));
  chain.low_pass = {Hertz(60.0), 4};
  const auto bass = measured(recorded_through(chain, music, rate, random), stream_of(music, 1));
  REQUIRE(wide);
  REQUIRE(bass);
  CHECK(wide->clipping.in_front == 1.0);
  // 1 dB takes 11 % off the highest peak (1 - 1/1.122).
  CHECK(bass->clipping.in_front < 0.05);
}
