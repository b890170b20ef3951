// SPDX-License-Identifier: MIT
// Steady tones one after the other: the clock that they tell, and each of them in its place.
#include "measure/stepped_sine.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "signal/third_octaves.hpp"
#include "support/recorded_tones.hpp"
#include "support/within.hpp"

using namespace railtap;
using namespace railtap::measure;

namespace {

constexpr Hertz rate{48000.0};
const signal::SteppedSine kit{signal::third_octaves(13, 11), Dbfs(-20), Seconds(4)};

double level_dbfs(const MeasuredStep& step) {
  return 10.0 * std::log10(2.0 * step.block.fundamental);
}

}  // namespace

TEST_CASE("stepped sine: its clock is told within 1e-5 where a marker knows it within 0.2 %") {
  for (const double ratio : {0.995, 1.0, 1.005}) {
    CAPTURE(ratio);
    const test::RecordedTones tones{kit, {}, ratio, -60.0};
    const auto x = test::samples_of(tones);
    // A marker's start is 10 ms off at the most.
    const PartPlace marker{static_cast<double>(tones.lead) + 480.0, ratio + 0.002};
    const SteppedClock clock = clock_of(x, rate, kit, marker);
    CHECK(clock.clearness > 1000.0);
    CHECK(test::within_rel(clock.ratio, ratio, 1e-5));
  }
}

TEST_CASE("stepped sine: every step has the level that it was recorded with") {
  test::RecordedTones tones{kit, {}, 1.005, -60.0};
  for (std::size_t k = 0; k < kit.frequencies.size(); ++k)
    tones.gain_db.push_back(6.0 - 3.0 * static_cast<double>(k));
  const auto x = test::samples_of(tones);
  const RecordingOptions options{{Hertz(18.0), Hertz(20000.0)}, std::nullopt};
  const auto steps =
      measure_stepped_sine(x, rate, options, kit, {static_cast<double>(tones.lead), 1.005});
  REQUIRE(steps.size() == kit.frequencies.size());
  for (std::size_t k = 0; k < steps.size(); ++k) {
    CAPTURE(k);
    REQUIRE(steps[k].block.tone);
    CHECK(steps[k].step.index == static_cast<int>(k));
    CHECK(test::within_rel(steps[k].block.series.fundamental.value(),
                           kit.frequencies[k].value() / 1.005, 1e-4));
    // Noise of -60 dBFS spreads over 24 kHz: in a block of 2 s it moves -44 dBFS by 0.01 dB at
    // most.
    CHECK(test::within_abs(level_dbfs(steps[k]), -20.0 + tones.gain_db[k], 0.01));
  }
}

TEST_CASE(
    "stepped sine: steps that the recording does not hold are left out, the rest keep theirs") {
  const test::RecordedTones tones{kit, {}, 1.0, -90.0};
  auto x = test::samples_of(tones);
  const auto cut = tones.lead + static_cast<std::size_t>(4.0 * 48000.0 * 8.5);
  x.resize(cut);
  const auto steps = measure_stepped_sine(x, rate, {}, kit, {static_cast<double>(tones.lead), 1.0});
  REQUIRE(steps.size() == 8);
  CHECK(steps.back().step.index == 7);
}

TEST_CASE("stepped sine: a slow tone is measured whole, without its beginning and end") {
  // 10 ms are a part of a cycle of 25 Hz; what differs there from frame to frame is no disturbance.
  const signal::SteppedSine shorter{kit.frequencies, Dbfs(-20), Seconds(0.6)};
  const test::RecordedTones tones{shorter, {}, 1.0, -100.0};
  const auto x = test::samples_of(tones);
  const auto steps =
      measure_stepped_sine(x, rate, {}, shorter, {static_cast<double>(tones.lead), 1.0});
  REQUIRE(steps.size() == 11);
  for (const MeasuredStep& step : steps) {
    CAPTURE(step.step.index);
    // 0.6 s less two fifths in front; behind it a cycle of 20 Hz at the most and 20 ms.
    CHECK(static_cast<double>(step.step.inner_end - step.step.inner_first) >= 0.28 * 48000.0);
    const double hz = shorter.frequencies[static_cast<std::size_t>(step.step.index)].value();
    CHECK(static_cast<double>(step.step.end - step.step.inner_end) >= 48000.0 / hz);
  }
}
