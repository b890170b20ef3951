// SPDX-License-Identifier: MIT
// Steps of level in recordings of ladders, of knobs turned by hand, and of stepped sines.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "measure/known_steps.hpp"
#include "measure/ladder.hpp"
#include "measure/steps.hpp"
#include "signal/tone.hpp"
#include "support/basics.hpp"
#include "support/onset_of.hpp"
#include "support/played_steps.hpp"
#include "support/recorded_tones.hpp"

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;

namespace {

constexpr Hertz rate{48000.0};

Stage stage_with_rail(double rail, double hz = 997.0) {
  return {[=](double x) { return std::clamp(x, -rail, rail); },
          coupling(5.0),
          0.8,
          hz,
          rate.value(),
          1e-4};
}

LevelTrack played(const std::vector<Played>& stretches, const Stage& stage) {
  Random random(7);
  return track_of(play(stretches, stage, random), rate);
}

// Without the noise in pauses.
std::vector<Step> loud(std::vector<Step> steps) {
  std::erase_if(steps, [](const Step& step) { return step.level_db < -60.0; });
  return steps;
}

double seconds(double samples) {
  return samples / rate.value();
}

}  // namespace

TEST_CASE("level track: an hour takes 6 MB and a frame is 10 ms") {
  LevelTracker tracker(rate);
  const std::vector<double> second(48000, 0.5);
  tracker.add(second.data(), 1, second.size());
  const auto track = tracker.finish();
  CHECK(track.frames.size() == 100);
  CHECK(sizeof(TrackFrame) * 100 * 3600 < 6'000'000);
  CHECK(track.frames[3].mean == 0.5F);
}

TEST_CASE("level track: the smoothed level of a sine is its mean square, and a click is not seen") {
  Random random(1);
  auto x = play({{-12.0, 2.0}}, stage_with_rail(1.0), random);
  for (std::size_t n = 48000; n < 48200; ++n) x[n] += 0.9;
  const auto track = track_of(x, rate);
  const auto level = smoothed_level(track);
  // 0.8·10^(−12/20) peak: −12 − 1.938 − 3.010 dB of mean square.
  for (std::size_t i = 20; i < 180; ++i) CHECK(within_abs(level[i], -16.949, 0.03));
  const auto disturbed = disturbed_frames(track);
  CHECK(disturbed[100]);
  CHECK_FALSE(disturbed[50]);
}

TEST_CASE("level track: one sample that stands out by 2 dB disturbs its frame, and no other") {
  Random random(1);
  auto x = play({{-12.0, 2.0}}, stage_with_rail(1.0), random);
  x[48010] = 1.26 * 0.8 * std::pow(10.0, -12.0 / 20.0);
  const auto disturbed = disturbed_frames(track_of(x, rate));
  CHECK(disturbed[100]);
  CHECK_FALSE(disturbed[97]);
  CHECK_FALSE(disturbed[103]);
}

TEST_CASE("plateaus: the inner part of a step keeps clear of a click in it") {
  Random random(1);
  auto x =
      play({{std::nullopt, 0.4}, {-12.0, 1.6}, {std::nullopt, 0.4}}, stage_with_rail(1.0), random);
  const std::int64_t click = 48000 * 3 / 2;
  for (std::int64_t n = click; n < click + 100; ++n) x[static_cast<std::size_t>(n)] += 0.9;
  const auto steps = find_plateaus(track_of(x, rate));
  REQUIRE(steps.size() == 3);  // the noise before, the tone, the noise behind
  CHECK(steps[1].first < click);
  CHECK(steps[1].end > click);
  CHECK(steps[1].inner_end <= click);  // the longer part, 1.1 s of 1.6
  CHECK(steps[1].inner_end - steps[1].inner_first > 36000);
}

TEST_CASE("level track: an offset does not make a slow tone's level ripple") {
  const auto levels_of = [](double offset) {
    std::vector<double> samples(48000);
    for (std::size_t n = 0; n < samples.size(); ++n) {
      const double cycles = 30.0 * static_cast<double>(n) / 48000.0;
      samples[n] = offset + 0.05 * std::sin(2.0 * std::numbers::pi * cycles);
    }
    return smoothed_level(track_of(samples, Hertz(48000.0)));
  };
  const auto without = levels_of(0.0);
  const auto with = levels_of(0.3);
  for (std::size_t i = 10; i + 10 < with.size(); ++i) {
    CHECK(within_abs(without[i], 10.0 * std::log10(0.5 * 0.05 * 0.05), 0.7));
    CHECK(within_abs(with[i], without[i], 0.3));
  }
}

TEST_CASE("ladder: it is found by its levels, limited part included, at 1 kHz and at 50 Hz") {
  for (const double hz : {997.0, 50.0}) {
    const auto track = played(ladder(-30.0, 1.0, 31, 0.5), stage_with_rail(0.33, hz));
    const auto found = find_ladder(track, find_plateaus(track));
    REQUIRE(found);
    CHECK(found->grid.steps == 31);
    CHECK(within_abs(seconds(found->grid.first), 0.6, 0.015));
    CHECK(within_rel(found->grid.dwell, 24000.0, 0.001));
    CHECK(within_abs(found->rise_db, 1.0, 0.01));
    CHECK(found->start_seen);
    CHECK(found->end_seen);
  }
}

TEST_CASE("ladder: steps that a limiter holds at one level are still counted") {
  auto stretches = ladder(-30.0, 1.0, 21, 0.5);
  for (int k = 0; k < 10; ++k) stretches.insert(stretches.end() - 1, Played{-10.0, 0.5});
  const auto track = played(stretches, stage_with_rail(1.0));
  const auto found = find_ladder(track, find_plateaus(track));
  REQUIRE(found);
  CHECK(found->grid.steps == 31);
}

TEST_CASE("ladder: half decibels, quick steps and three seconds a step are ladders, too") {
  struct Case {
    double rise_db, dwell_s;
    int steps;
  };
  for (const Case& c : {Case{0.5, 0.3, 41}, Case{2.0, 0.4, 16}, Case{3.0, 3.0, 8}}) {
    const auto track = played(ladder(-21.0, c.rise_db, c.steps, c.dwell_s), stage_with_rail(0.5));
    const auto found = find_ladder(track, find_plateaus(track));
    REQUIRE(found);
    CHECK(found->grid.steps == c.steps);
    CHECK(within_abs(found->rise_db, c.rise_db, 0.02));
  }
}

TEST_CASE("ladder: a falling one is found backwards") {
  const auto track = played(ladder(0.0, -1.0, 31, 0.5), stage_with_rail(0.33));
  const auto found = find_ladder(track, find_plateaus(track), -1.0);
  REQUIRE(found);
  CHECK(found->grid.steps == 31);
  CHECK(within_abs(found->rise_db, -1.0, 0.01));
  CHECK(within_abs(seconds(found->grid.first), 0.6, 0.02));
}

TEST_CASE("ladder: a hand on a knob has no pace and is none") {
  std::vector<Played> stretches{{std::nullopt, 0.5}};
  const std::vector<double> rests{0.9, 1.4, 0.7, 2.1, 1.1, 0.8, 1.7, 1.2, 0.6, 1.9, 1.0, 1.3};
  for (std::size_t i = 0; i < rests.size(); ++i)
    stretches.push_back({-14.0 + static_cast<double>(i), rests[i]});
  stretches.push_back({std::nullopt, 0.5});
  const auto track = played(stretches, stage_with_rail(0.4));
  const auto plateaus = find_plateaus(track);
  CHECK(loud(plateaus).size() == rests.size());
  CHECK_FALSE(find_ladder(track, plateaus));
}

TEST_CASE("ladder placed: start or end is enough to number the steps, neither is not") {
  const LadderPlan plan{31, 1.0, {}};
  const auto whole = ladder(-30.0, 1.0, 31, 0.5);
  const Stage stage = stage_with_rail(0.33);
  const auto place = [&](const std::vector<Played>& stretches) {
    const auto track = played(stretches, stage);
    return place_ladder(track, find_plateaus(track), plan);
  };
  CHECK(place(whole).fit == Fit::whole);

  const Placement no_start = place({whole.begin() + 6, whole.end()});
  CHECK(no_start.fit == Fit::cut_short);
  CHECK(no_start.found == 26);
  CHECK(within_abs(seconds(no_start.grid.first), -2.5, 0.02));

  const Placement no_end = place({whole.begin(), whole.end() - 4});
  CHECK(no_end.fit == Fit::cut_short);
  CHECK(no_end.found == 28);
  CHECK(within_abs(seconds(no_end.grid.first), 0.6, 0.02));

  CHECK(place({whole.begin() + 6, whole.end() - 4}).fit == Fit::ambiguous);
}

TEST_CASE("ladder placed: a wrong description is named, not bent until it fits") {
  const auto track = played(ladder(-30.0, 1.0, 31, 0.5), stage_with_rail(0.33));
  const auto plateaus = find_plateaus(track);
  CHECK(place_ladder(track, plateaus, {21, 1.0, {}}).fit == Fit::too_many);
  CHECK(place_ladder(track, plateaus, {41, 1.0, {}}).fit == Fit::too_few);
  CHECK(place_ladder(track, plateaus, {16, 2.0, {}}).fit == Fit::not_found);
}

TEST_CASE("ladder placed: a marker numbers the steps, and the pace is the recorder's") {
  const auto track = played(ladder(-30.0, 1.0, 31, 0.502), stage_with_rail(0.33));
  const Grid nominal{0.61 * rate.value(), 0.5 * rate.value(), 31};
  const Placement placed = place_ladder(track, find_plateaus(track), {31, 1.0, nominal});
  CHECK(placed.fit == Fit::whole);
  CHECK(within_rel(placed.grid.dwell, 0.502 * rate.value(), 0.001));
  CHECK(within_abs(seconds(placed.grid.first), 0.6, 0.015));
}

TEST_CASE("ladder cut: inner parts keep clear of the edges") {
  const auto track = played(ladder(-30.0, 1.0, 31, 0.5), stage_with_rail(0.33));
  const auto found = find_ladder(track, find_plateaus(track));
  REQUIRE(found);
  const auto steps = cut_evenly(track, found->grid);
  REQUIRE(steps.size() == 31);
  for (int k = 0; k < 31; ++k) {
    const Step& step = steps[static_cast<std::size_t>(k)];
    const double start = 0.6 + 0.5 * k;
    CHECK(step.index == k);
    CHECK(seconds(static_cast<double>(step.inner_first)) > start + 0.05);
    CHECK(seconds(static_cast<double>(step.inner_end)) < start + 0.5);
    CHECK(seconds(static_cast<double>(step.inner_end - step.inner_first)) > 0.35);
  }
}

TEST_CASE("plateaus: up, down again, pauses and clicks; each rest is found where it was") {
  Random random(3);
  const std::vector<Played> stretches{{std::nullopt, 1.0}, {-20.0, 1.3},        {-18.5, 0.8},
                                      {-17.0, 1.9},        {std::nullopt, 1.2}, {-17.0, 1.0},
                                      {-15.0, 1.6},        {-16.0, 0.7},        {-20.0, 1.1}};
  auto x = play(stretches, stage_with_rail(1.0), random, 0.02);
  for (const double at : {1.9, 4.4, 9.3}) x[static_cast<std::size_t>(at * 48000.0)] += 0.8;
  const auto plateaus = loud(find_plateaus(track_of(x, rate)));
  REQUIRE(plateaus.size() == 7);
  const std::vector<double> starts{1.0, 2.3, 3.1, 6.2, 7.2, 8.8, 9.5};
  const std::vector<double> levels{-20.0, -18.5, -17.0, -17.0, -15.0, -16.0, -20.0};
  for (std::size_t i = 0; i < plateaus.size(); ++i) {
    CHECK(within_abs(seconds(static_cast<double>(plateaus[i].first)), starts[i], 0.05));
    CHECK(within_abs(plateaus[i].level_db, levels[i] - 1.938 - 3.010, 0.03));
    CHECK_FALSE(plateaus[i].gliding);
  }
}

TEST_CASE("plateaus: a level that glides is cut into slices") {
  std::vector<Played> stretches;
  for (int i = 0; i < 500; ++i) stretches.push_back({-20.0 + 0.03 * i, 0.01});
  const auto plateaus = find_plateaus(played(stretches, stage_with_rail(1.0)));
  REQUIRE(plateaus.size() >= 15);
  CHECK(plateaus.front().gliding);
}

TEST_CASE("plateaus: silence, noise alone and nothing at all have none that hold a tone") {
  CHECK(find_plateaus(LevelTrack{rate, 480, 0, {}}).empty());
  CHECK(find_plateaus(track_of(std::vector<double>(96000, 0.0), rate)).empty());
}

namespace {

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
