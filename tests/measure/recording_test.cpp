// SPDX-License-Identifier: MIT
// Whole recordings: cut into steady segments at constant memory.
#include "measure/recording.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include "support/basics.hpp"

using namespace railtap;
using namespace railtap::measure;
using railtap::test::within_abs;
using std::numbers::pi;

namespace {

struct Part {
  double seconds, hz, peak;
};

std::vector<double> recording(const std::vector<Part>& parts, double noise_rms,
                              double clip = 10.0) {
  test::Random random(7);
  test::Gaussian noise(0.0, noise_rms);
  std::vector<double> x;
  for (const Part& part : parts) {
    const auto count = static_cast<std::size_t>(part.seconds * 48000.0);
    for (std::size_t n = 0; n < count; ++n) {
      const double v = part.peak * std::sin(2.0 * pi * part.hz * static_cast<double>(n) / 48000.0);
      x.push_back(std::clamp(v, -clip, clip) + noise(random));
    }
  }
  return x;
}

ChannelRecording measure_all(const std::vector<double>& x, std::size_t block) {
  RecordingMeter meter(Hertz(48000.0), 1, {});
  for (std::size_t n = 0; n < x.size(); n += block) {
    meter.add(std::span(x).subspan(n, std::min(block, x.size() - n)));
  }
  return meter.finish()[0];
}

double level_db(const Segment& s) {
  return 10.0 * std::log10(2.0 * s.measurement.fundamental);
}

}  // namespace

TEST_CASE("recording: silence, a tone and silence give three segments with their times and level") {
  const auto r = measure_all(recording({{1.23, 0, 0}, {3.0, 997, 0.5}, {1.5, 0, 0}}, 1e-5), 4096);
  REQUIRE(r.segments.size() == 3);
  CHECK_FALSE(r.segments[0].measurement.tone);
  REQUIRE(r.segments[1].measurement.tone);
  CHECK(within_abs(static_cast<double>(r.segments[1].first_frame) / 48000.0, 1.23, 0.11));
  CHECK(within_abs(static_cast<double>(r.segments[1].end_frame) / 48000.0, 4.23, 0.11));
  CHECK(within_abs(level_db(r.segments[1]), 20.0 * std::log10(0.5), 0.0005));
}

TEST_CASE("recording: the result does not depend on how the stream was cut into blocks") {
  const auto x = recording({{0.77, 0, 0}, {2.2, 50, 0.5}, {1.9, 50, 0.25}}, 1e-4);
  const auto a = measure_all(x, 100);
  const auto b = measure_all(x, x.size());
  REQUIRE(a.segments.size() == b.segments.size());
  for (std::size_t i = 0; i < a.segments.size(); ++i) {
    CHECK(a.segments[i].first_frame == b.segments[i].first_frame);
    CHECK(a.segments[i].measurement.fundamental == b.segments[i].measurement.fundamental);
    CHECK(a.segments[i].measurement.noise == b.segments[i].measurement.noise);
  }
}

TEST_CASE("recording: a ladder of 1 dB steps of half a second gives a segment a step") {
  std::vector<Part> parts;
  for (int step = -12; step <= 0; ++step) parts.push_back({0.53, 997, std::pow(10.0, step / 20.0)});
  const auto r = measure_all(recording(parts, 1e-4), 4096);
  REQUIRE(r.segments.size() == 13);
  for (std::size_t i = 0; i < 13; ++i) {
    CHECK(within_abs(level_db(r.segments[i]), static_cast<double>(i) - 12.0, 0.001));
  }
}

TEST_CASE(
    "recording: two seconds of clipping inside a minute of clean tone are found, with their time") {
  auto x = recording({{60.0, 997, 0.5}}, 1e-5);
  for (std::size_t n = 48000 * 30; n < 48000 * 32; ++n) x[n] = std::clamp(x[n], -0.49, 0.49);
  const auto r = measure_all(x, 4096);
  bool found = false;
  for (const auto& s : r.segments) {
    if (s.measurement.residual / s.measurement.fundamental < 1e-6) continue;
    found = true;
    CHECK(within_abs(static_cast<double>(s.first_frame) / 48000.0, 30.0, 1.2));
    CHECK(within_abs(static_cast<double>(s.end_frame) / 48000.0, 32.0, 1.2));
  }
  CHECK(found);
}

TEST_CASE("recording: the finest ladder has a segment a step, a level that holds has one") {
  std::vector<Part> parts;
  for (int k = 0; k < 4; ++k) parts.push_back({1.0, 997, 0.3 * std::pow(10.0, 0.1 * k / 20.0)});
  const auto r = measure_all(recording(parts, 1e-5), 4096);
  REQUIRE(r.segments.size() == 4);
  for (std::size_t k = 1; k < 4; ++k) {
    CHECK(within_abs(level_db(r.segments[k]) - level_db(r.segments[k - 1]), 0.1, 0.02));
  }
  CHECK(measure_all(recording({{4.0, 997, 0.3}}, 1e-3), 4096).segments.size() == 1);
}

TEST_CASE("recording: samples at full scale are counted, and runs across blocks are one run") {
  auto x = recording({{1.0, 100, 1.2}}, 0.0, 1.0);
  const auto r = measure_all(x, 37);
  // Share of the cycle above full scale on either side: 1 − (2/π)·asin(1/1.2) (closed form).
  const double share = 1.0 - 2.0 / pi * std::asin(1.0 / 1.2);
  CHECK(within_abs(static_cast<double>(r.full_scale.samples) / 48000.0, share, 0.005));
  CHECK(within_abs(static_cast<double>(r.full_scale.longest), share * 240.0, 1.5));
}

TEST_CASE("recording: a non-finite sample is counted and spoils only its own neighbourhood") {
  auto x = recording({{3.0, 997, 0.5}}, 1e-5);
  x[70000] = std::numeric_limits<double>::quiet_NaN();
  const auto r = measure_all(x, 4096);
  CHECK(r.figures.non_finite == 1);
  REQUIRE(r.segments.size() == 2);
  CHECK(within_abs(level_db(r.segments[1]), 20.0 * std::log10(0.5), 0.001));
}

TEST_CASE("recording: a quarter of a second is enough for one block, and 50 ms for none") {
  CHECK(measure_all(recording({{0.25, 997, 0.5}}, 1e-5), 4096).segments.size() == 1);
  CHECK(measure_all(recording({{0.05, 997, 0.5}}, 1e-5), 4096).segments.empty());
}

TEST_CASE("recording: a click lies where it is also in a recording too short for several blocks") {
  auto x = recording({{0.3, 997, 0.5}}, 1e-5);
  x[6000] += 0.3;
  const auto r = measure_all(x, 4096);
  REQUIRE(r.disturbances.listed.size() == 1);
  constexpr double cell = 48.0;  // it is placed to 1 ms
  CHECK(within_abs(static_cast<double>(r.disturbances.listed[0].first_frame), 6000.0, cell));
}

TEST_CASE("recording: a meter that begins again measures as a new one does") {
  const auto first = recording({{3.3, 50, 0.5}}, 1e-5, 0.4);
  const auto second = recording({{0.4, 0, 0}, {2.6, 997, 0.3}}, 1e-5);
  ChannelMeter used(Hertz(48000.0), {});
  used.add(first.data(), 1, first.size());
  (void)used.finish();
  used.begin_again();
  used.add(second.data(), 1, second.size());
  const ChannelRecording again = used.finish();
  const ChannelRecording fresh = measure_all(second, 4096);
  REQUIRE(again.segments.size() == fresh.segments.size());
  CHECK(again.figures.frames == fresh.figures.frames);
  for (std::size_t i = 0; i < fresh.segments.size(); ++i) {
    CHECK(again.segments[i].first_frame == fresh.segments[i].first_frame);
    CHECK(again.segments[i].measurement.fundamental == fresh.segments[i].measurement.fundamental);
    CHECK(again.segments[i].measurement.residual == fresh.segments[i].measurement.residual);
    CHECK(again.segments[i].measurement.noise_a == fresh.segments[i].measurement.noise_a);
  }
}
