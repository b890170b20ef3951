// SPDX-License-Identifier: MIT
// Gaps, clicks and missing samples: found where they are, and the tone measured without them.
#include "measure/disturbance.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "measure/frame.hpp"
#include "measure/moving_tone.hpp"
#include "measure/recording.hpp"
#include "support/basics.hpp"

using namespace railtap;
using namespace railtap::measure;
using railtap::test::within_abs;
using std::numbers::pi;

namespace {

constexpr double rate = 48000.0;

std::vector<double> tone(double seconds, double hz = 997.0) {
  test::Random random(5);
  test::Gaussian noise(0.0, 1e-5);
  std::vector<double> x(static_cast<std::size_t>(seconds * rate));
  for (std::size_t n = 0; n < x.size(); ++n)
    x[n] = 0.5 * std::sin(2.0 * pi * hz * static_cast<double>(n) / rate) + noise(random);
  return x;
}

ChannelRecording measured(const std::vector<double>& x) {
  RecordingMeter meter(Hertz(rate), 1, {});
  meter.add(x);
  return meter.finish()[0];
}

double residual_db(const Segment& s) {
  return 10.0 * std::log10(s.measurement.residual / s.measurement.fundamental);
}

}  // namespace

TEST_CASE("disturbance: a clean tone has none, and a clipped one has none") {
  auto x = tone(3.0, 50.0);
  CHECK(measured(x).disturbances.count() == 0);
  for (double& v : x) v = std::clamp(v, -0.4, 0.4);
  CHECK(measured(x).disturbances.count() == 0);
}

TEST_CASE("disturbance: a click is found to the millisecond, and the rest is clean") {
  auto x = tone(3.0);
  for (std::size_t n = 0; n < 15; ++n) x[60000 + n] += 0.05;
  const auto r = measured(x);
  REQUIRE(r.disturbances.count() == 1);
  CHECK(r.disturbances.clicks == 1);
  CHECK(within_abs(static_cast<double>(r.disturbances.listed[0].first_frame), 60000.0, 60.0));
  REQUIRE(r.segments.size() == 1);
  CHECK(residual_db(r.segments[0]) < -88.0);
}

TEST_CASE("disturbance: gaps of 2 ms and of 0.1 s are found with their length") {
  auto x = tone(4.0);
  for (std::size_t n = 0; n < 96; ++n) x[50000 + n] = 0.0;
  for (std::size_t n = 0; n < 4800; ++n) x[120000 + n] = 0.0;
  const auto r = measured(x);
  CHECK(r.disturbances.gaps == 2);
  REQUIRE(r.disturbances.listed.size() == 2);
  for (const auto& [index, first, length] :
       {std::tuple{0U, 50000.0, 96.0}, std::tuple{1U, 120000.0, 4800.0}}) {
    CHECK(within_abs(static_cast<double>(r.disturbances.listed[index].first_frame), first, 3.0));
    CHECK(within_abs(static_cast<double>(r.disturbances.listed[index].frames), length, 4.0));
  }
  for (const Segment& s : r.segments) CHECK(residual_db(s) < -85.0);
}

TEST_CASE("disturbance: samples that are missing are a jump, and the rest is clean") {
  auto x = tone(4.0);
  x.erase(x.begin() + 90000, x.begin() + 90020);
  const auto r = measured(x);
  CHECK(r.disturbances.jumps == 1);
  CHECK(r.disturbances.count() == 1);
  for (const Segment& s : r.segments) CHECK(residual_db(s) < -85.0);
}

// Blocks are of 1 s and begin 0.1 s into the recording.
TEST_CASE("disturbance: samples that are missing between two blocks are a jump") {
  for (const double hz : {50.0, 997.0}) {
    for (const std::size_t border : {52800U, 100800U}) {
      CAPTURE(hz);
      CAPTURE(border);
      // The last is half a cycle.
      for (const double missing : {40.0, 200.0, std::round(0.5 * rate / hz)}) {
        auto x = tone(4.0, hz);
        const auto at = x.begin() + static_cast<std::ptrdiff_t>(border);
        x.erase(at, at + static_cast<std::ptrdiff_t>(missing));
        const auto r = measured(x);
        CHECK(r.disturbances.jumps == 1);
        REQUIRE(r.disturbances.count() == 1);
        CHECK(within_abs(static_cast<double>(r.disturbances.listed[0].first_frame),
                         static_cast<double>(border), 1.0));
      }
      CHECK(measured(tone(4.0, hz)).disturbances.count() == 0);
    }
  }
}

TEST_CASE("disturbance: a speed that wavers is no jump") {
  for (const double hertz : {1.0, 3.0, 5.5, 8.0}) {
    CAPTURE(hertz);
    for (const double share : {0.001, 0.002, 0.005}) {
      CAPTURE(share);
      std::vector<double> x;
      for (std::size_t n = 0; n < 192000; ++n) {
        const double s = static_cast<double>(n) / rate;
        const double late = share / (2.0 * pi * hertz) * std::sin(2.0 * pi * hertz * s + 0.7);
        x.push_back(0.5 * std::sin(2.0 * pi * 997.0 * (s + late)));
      }
      CHECK(measured(x).disturbances.jumps == 0);
    }
  }
}

TEST_CASE("disturbance: hum and hiss are no clicks") {
  auto x = tone(3.0);
  test::Random random(6);
  test::Gaussian noise(0.0, 3e-3);
  for (std::size_t n = 0; n < x.size(); ++n)
    for (int k = 1; k < 8; ++k)
      x[n] += 0.003 * std::cos(2.0 * pi * 50.0 * k * static_cast<double>(n) / rate);
  CHECK(measured(x).disturbances.count() == 0);
  for (double& v : x) v += noise(random);
  CHECK(measured(x).disturbances.count() == 0);
}

TEST_CASE("moving level: a level that swings is told with its range, steps are not") {
  auto x = tone(5.0);
  for (std::size_t n = 0; n < x.size(); ++n)
    x[n] *= std::pow(10.0, std::sin(2.0 * pi * 0.7 * static_cast<double>(n) / rate) / 20.0);
  const auto swinging = measured(x).moving;
  CHECK(within_abs(swinging.highest_db - swinging.lowest_db, 2.0, 0.1));
  CHECK(swinging.up_db > 2.0);
  CHECK(swinging.down_db > 2.0);
  CHECK(within_abs(swinging.frequency.value(), 997.0, 5.0));
  auto steps = tone(5.0);
  for (std::size_t n = 0; n < steps.size(); ++n)
    steps[n] *= std::pow(10.0, -static_cast<double>(n / 24000) / 20.0);
  CHECK(measured(steps).moving.frames == 0);
}

TEST_CASE("code step: found whatever holds the numbers, none for numbers off every grid") {
  CodeStep eight, none, off;
  eight.add(std::vector<double>{3.0 / 128.0, -100.0 / 128.0, 0.0});
  CHECK(eight.step() == 1.0 / 128.0);
  none.add(std::vector<double>{0.0, 0.0});
  CHECK_FALSE(none.step());
  off.add(std::vector<double>{0.1, 1.0 / 128.0});
  CHECK_FALSE(off.step());
}
