// SPDX-License-Identifier: MIT
// Markers are found after what a car's chain and a recording do to them, and nowhere else.
#include "measure/marker.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "signal/generator.hpp"
#include "support/basics.hpp"

using namespace railtap;
using namespace railtap::signal;
using measure::find_markers;
using measure::FoundMarker;

namespace {

constexpr Hertz rate48{48000.0};
const LevelLadder mid_ladder{Hertz(1000), Dbfs(-40), Dbfs(0), Decibels(1), Seconds(0.2)};
const LevelLadder low_ladder{Hertz(50), Dbfs(-6), Dbfs(0), Decibels(0.5), Seconds(0.5)};

// Silence, marker and ladder, silence.
std::vector<double> announced(const Signal& signal, MarkerBand band, double lead_s = 0.777,
                              Hertz rate = rate48) {
  Track track{"t", "", "", "", "", {{signal, Channels::both, band}}};
  Generator generator(track, rate, highest_float_peak);
  std::vector<double> stereo(static_cast<std::size_t>(generator.frames()) * 2);
  generator.render(stereo);
  std::vector<double> mono(static_cast<std::size_t>(lead_s * rate.value()), 0.0);
  for (std::size_t n = 0; n < stereo.size(); n += 2) mono.push_back(stereo[n]);
  mono.insert(mono.end(), 20000, 0.0);
  return mono;
}

double gaussian(Random& random) {
  const double u = 1.0 - random.uniform(), v = random.uniform();
  return std::sqrt(-2.0 * std::log(u)) * std::cos(2.0 * std::numbers::pi * v);
}

void add_noise(std::vector<double>& x, Dbfs level) {
  Random random(5);
  const double rms = sine_peak(level) / std::numbers::sqrt2;
  for (double& v : x) v += rms * gaussian(random);
}

// First-order high-pass or low-pass, applied `order` times.
void filter(std::vector<double>& x, double corner_hz, bool high, int order) {
  const double a = std::exp(-2.0 * std::numbers::pi * corner_hz / 48000.0);
  for (int k = 0; k < order; ++k) {
    double low = 0.0;
    for (double& v : x) {
      low = a * low + (1.0 - a) * v;
      v = high ? v - low : low;
    }
  }
}

// A recording whose clock runs `ratio` times as fast, by linear interpolation.
std::vector<double> stretched(const std::vector<double>& x, double ratio) {
  std::vector<double> out;
  for (double place = 0.0; place < static_cast<double>(x.size()) - 2.0; place += 1.0 / ratio) {
    const auto n = static_cast<std::size_t>(place);
    const double part = place - static_cast<double>(n);
    out.push_back((1.0 - part) * x[n] + part * x[n + 1]);
  }
  return out;
}

const LevelLadder& only_ladder(const std::vector<FoundMarker>& found) {
  REQUIRE(found.size() == 1);
  return std::get<LevelLadder>(found[0].announced);
}

}  // namespace

TEST_CASE("marker finder: a clean marker is found where it is, at every rate") {
  for (const double rate : {32000.0, 44100.0, 48000.0, 96000.0}) {
    const auto found =
        find_markers(announced(mid_ladder, MarkerBand::mid, 0.777, Hertz(rate)), Hertz(rate));
    const LevelLadder& ladder = only_ladder(found);
    CHECK(test::within_abs(ladder.start.value(), -40.0, 1e-9));
    CHECK(test::within_abs(found[0].start_frame / rate, 0.777, 0.003));
    CHECK(test::within_abs(found[0].signal_frame / rate, 0.777 + 38 * 0.06 + 0.5, 0.003));
    CHECK(found[0].quality > 0.95);
  }
}

TEST_CASE("marker finder: the low marker is found behind a bass amplifier's low-pass") {
  std::vector<double> x = announced(low_ladder, MarkerBand::low);
  filter(x, 60.0, false, 4);
  filter(x, 15.0, true, 2);
  add_noise(x, Dbfs(-50));
  const auto found = find_markers(x, rate48);
  CHECK(only_ladder(found).frequency.value() == 50.0);
  CHECK(test::within_abs(found[0].start_frame / 48000.0, 0.777, 0.02));
}

TEST_CASE("marker finder: gain, inversion, noise as loud as the marker and hum do not matter") {
  for (const double gain : {-3.0, 0.5, 0.001}) {
    std::vector<double> x = announced(mid_ladder, MarkerBand::mid);
    add_noise(x, marker_level);
    for (std::size_t n = 0; n < x.size(); ++n) {
      x[n] += 0.3 * std::sin(2.0 * std::numbers::pi * 50.0 * static_cast<double>(n) / 48000.0);
      x[n] = gain * (x[n] + 0.1);
    }
    filter(x, 8.0, true, 1);
    const auto found = find_markers(x, rate48);
    CHECK(only_ladder(found).dwell.value() == doctest::Approx(0.2));
    CHECK(test::within_abs(found[0].start_frame / 48000.0, 0.777, 0.005));
  }
}

TEST_CASE("marker finder: half a percent of clock error is measured, not lost on") {
  for (const double ratio : {0.995, 0.999, 1.001, 1.005}) {
    for (const auto band : {MarkerBand::mid, MarkerBand::low}) {
      const auto found = find_markers(
          stretched(announced(band == MarkerBand::mid ? mid_ladder : low_ladder, band), ratio),
          rate48);
      (void)only_ladder(found);
      CHECK(test::within_abs(found[0].clock_ratio, ratio, 0.002));
      const double expected_s = ratio * (0.777 + marker_length(band).value());
      CHECK(test::within_abs(found[0].signal_frame / 48000.0, expected_s, 0.012));
    }
  }
}

TEST_CASE("marker finder: a clipped recording of it is found") {
  std::vector<double> x = announced(mid_ladder, MarkerBand::mid);
  for (double& v : x) v = std::clamp(30.0 * v, -1.0, 1.0);
  CHECK(only_ladder(find_markers(x, rate48)).step.value() == doctest::Approx(1.0));
}

TEST_CASE("marker finder: two markers in one recording come in order") {
  std::vector<double> x = announced(ChannelPattern{Dbfs(-15)}, MarkerBand::mid);
  const std::vector<double> second = announced(Silence{Seconds(2)}, MarkerBand::mid);
  x.insert(x.end(), second.begin(), second.end());
  const auto found = find_markers(x, rate48);
  REQUIRE(found.size() == 2);
  CHECK(std::holds_alternative<ChannelPattern>(found[0].announced));
  CHECK(std::holds_alternative<Silence>(found[1].announced));
}

TEST_CASE("marker finder: noise, tones, sweeps and silence hold no marker") {
  std::vector<double> noise(480000, 0.0);
  add_noise(noise, Dbfs(-10));
  CHECK(find_markers(noise, rate48).empty());
  CHECK(find_markers(std::vector<double>(200000, 0.0), rate48).empty());
  CHECK(find_markers(announced(mid_ladder, MarkerBand::none), rate48).empty());
  const LogSweep sweep{Hertz(20), Hertz(20000), Dbfs(-10), Seconds(8)};
  CHECK(find_markers(announced(sweep, MarkerBand::none), rate48).empty());
  CHECK(find_markers({}, rate48).empty());
}
