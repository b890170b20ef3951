// SPDX-License-Identifier: MIT
// Onset of clipping from ladders and from knobs turned by hand, with the truth known.

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

#include <doctest/doctest.h>

#include "judge/ladder_gaps.hpp"
#include "judge/onset.hpp"
#include "judge/onset_criteria.hpp"
#include "support/basics.hpp"
#include "support/onset_of.hpp"
#include "support/played_steps.hpp"

using namespace railtap;
using namespace railtap::judge;
using namespace railtap::test;

namespace {

constexpr Hertz rate{48000.0};
constexpr double rail_dbfs = -9.63;

double peak(double level_dbfs) {
  return std::pow(10.0, level_dbfs / 20.0);
}
Law hard(double positive_dbfs, double negative_dbfs) {
  const double positive = peak(positive_dbfs);
  const double negative = peak(negative_dbfs);
  return [=](double x) { return std::clamp(x, -negative, positive); };
}
Law soft(double rail, double sharpness) {
  return [=](double x) {
    return x / std::pow(1.0 + std::pow(std::abs(x / peak(rail)), sharpness), 1.0 / sharpness);
  };
}
Stage stage_of(Law law, double hz = 997.0) {
  return {std::move(law), coupling(5.0), 0.9, hz, rate.value(), 2e-4};
}

ChannelOnset onset_of(const Stage& stage, double from = -24.0, int steps = 25) {
  Random random(1);
  const auto samples = play(ladder(from, 1.0, steps, 0.5), stage, random);
  const auto onset = ladder_onset(samples, rate, {Dbfs(from), Decibels(1.0)});
  REQUIRE(onset);
  REQUIRE(onset->steps.size() == static_cast<std::size_t>(steps));
  return *onset;
}

void check_input(const std::optional<OnsetPoint>& point, double truth, double tolerance_db) {
  REQUIRE(point);
  REQUIRE(point->input);
  CHECK(within_abs(point->input->value(), truth, tolerance_db));
}

}  // namespace

TEST_CASE("onset: a hard knee is found within 0.01 dB by all three criteria, at 997 and 50 Hz") {
  for (const double hz : {997.0, 50.0}) {
    const Stage stage = stage_of(hard(rail_dbfs, rail_dbfs), hz);
    const auto onset = onset_of(stage);
    check_input(onset.flat_top, rail_dbfs, 0.01);
    check_input(onset.thdn, *true_thdn_onset(stage, 0.01), 0.01);
    check_input(onset.compression, *true_compression_onset(stage, 0.3), 0.01);
    CHECK(onset.verdict == OnsetVerdict::clips);
    CHECK(onset.highest_clean_step == 15);  // −10 dBFS, the 15th from −24
    CHECK(within_abs(onset.flat_top->level.value(), true_level(stage, rail_dbfs), 0.01));
    CHECK(onset.flat_top->uncertainty.value() < 0.01);
  }
}

TEST_CASE("onset: a knee too narrow to be one gives 1 % of THD+N as a corner does") {
  constexpr double just_over_dbfs = -6.02;  // the step of −6 dBFS is 0.02 dB over
  for (const double sharpness : {500.0, 800.0}) {
    Stage stage = stage_of(soft(just_over_dbfs, sharpness), 1000.0);
    stage.noise_rms = 3e-5;
    const auto onset = onset_of(stage, -20.0, 21);
    check_input(onset.thdn, *true_thdn_onset(stage, 0.01), 0.01);
  }
}

TEST_CASE("onset: with only one rail, the criteria follow that rail") {
  const Stage stage = stage_of(hard(rail_dbfs, rail_dbfs + 6.0));
  const auto onset = onset_of(stage, -24.0, 20);
  check_input(onset.flat_top, rail_dbfs, 0.01);
  check_input(onset.thdn, *true_thdn_onset(stage, 0.01), 0.01);
  CHECK(onset.steps[16].overdrive_positive);
  CHECK_FALSE(onset.steps[16].overdrive_negative);
}

TEST_CASE("onset: soft knees are found within 0.1 dB by each criterion") {
  for (const double sharpness : {3.0, 6.0, 15.0, 40.0}) {
    const Stage stage = stage_of(soft(-6.0, sharpness));
    const auto onset = onset_of(stage, -30.0, 31);
    check_input(onset.thdn, *true_thdn_onset(stage, 0.01), 0.05);
    check_input(onset.compression, *true_compression_onset(stage, 0.3), 0.1);
    // A gain of a tenth at the crest: (1 + x^p)^(−1/p − 1) = 0.1, x re the rail (derived).
    const double p = sharpness;
    const double flat = std::pow(std::pow(10.0, p / (p + 1.0)) - 1.0, 1.0 / p);
    check_input(onset.flat_top, -6.0 + 20.0 * std::log10(flat), 0.1);
  }
}

TEST_CASE("onset: the softer rail of a lopsided knee counts, whichever it is, fed in or by hand") {
  // As above for p = 8: 1.2669 of the rail.
  const double flat_dbfs =
      -8.0 + 20.0 * std::log10(std::pow(std::pow(10.0, 8.0 / 9.0) - 1.0, 0.125));
  for (const bool upper : {true, false}) {
    const Law low = soft(-8.0, 8.0);
    const Law high = soft(-5.0, 8.0);
    const Stage stage = stage_of([=](double x) { return (x > 0.0) == upper ? low(x) : high(x); });
    check_input(onset_of(stage, -24.0, 25).flat_top, flat_dbfs, 0.05);
    std::vector<Played> stretches;
    for (int i = 0; i < 12; ++i) stretches.push_back({-22.0 + 2.0 * i, 0.8});
    Random random(5);
    const auto by_hand = rising_onset(play(stretches, stage, random), rate);
    REQUIRE(by_hand.flat_top);
    CHECK(within_abs(by_hand.flat_top->level.value(), true_level(stage, flat_dbfs), 0.1));
  }
}

TEST_CASE("onset: a rail that sags with the level is followed down to where it begins") {
  // Each decibel into the rail takes 5 % off it, so two steps disagree about where it is.
  Random random(4);
  std::vector<double> samples;
  for (int k = 0; k < 21; ++k) {
    const double input = -20.0 + k;
    const double sag = 1.0 - 0.05 * std::max(0.0, input - rail_dbfs);
    Stage stage = stage_of(hard(rail_dbfs, rail_dbfs));
    const double rail = peak(rail_dbfs) * sag;
    stage.law = [=](double x) { return std::clamp(x, -rail, rail); };
    const auto part = play({{input, 0.5}}, stage, random);
    samples.insert(samples.end(), part.begin(), part.end());
  }
  samples.resize(samples.size() + 24000, 0.0);
  const auto onset = ladder_onset(samples, rate, {Dbfs(-20.0), Decibels(1.0)});
  REQUIRE(onset);
  check_input(onset->flat_top, rail_dbfs, 0.05);
}

TEST_CASE("onset: a limiter compresses without clipping") {
  Random random(2);
  std::vector<Played> stretches{{std::nullopt, 0.6}};
  for (int k = 0; k < 25; ++k) {
    const double input = -24.0 + k;
    // Above −8.4 dBFS in, five sixths of each decibel are taken off.
    stretches.push_back({input < -8.4 ? input : -8.4 + (input + 8.4) / 6.0, 0.5});
  }
  stretches.push_back({std::nullopt, 0.6});
  const auto samples = play(stretches, stage_of(hard(0.0, 0.0)), random);
  const auto onset = ladder_onset(samples, rate, {Dbfs(-24.0), Decibels(1.0)});
  REQUIRE(onset);
  CHECK(onset->verdict == OnsetVerdict::compresses);
  CHECK_FALSE(onset->flat_top);
  CHECK_FALSE(onset->thdn);
  check_input(onset->compression, -8.4 + 0.3 * 6.0 / 5.0, 0.2);
  CHECK(onset->highest_clean_step == 16);  // −9 dBFS in; the next is 0.33 dB down
}

TEST_CASE("onset: a clean stage is clean throughout, its noise notwithstanding") {
  const auto onset = onset_of(stage_of([](double x) { return 0.3 * x; }), -30.0, 31);
  CHECK(onset.verdict == OnsetVerdict::clean_throughout);
  CHECK_FALSE(onset.thdn);
  CHECK_FALSE(onset.flat_top);
  CHECK_FALSE(onset.compression);
  CHECK(onset.highest_clean_step == 31);
  REQUIRE(onset.small_signal_gain);
  CHECK(within_abs(onset.small_signal_gain->value(), 20.0 * std::log10(0.27), 0.01));
}

TEST_CASE("onset: a recording input at full scale is not the stage's onset") {
  Stage stage = stage_of([](double x) { return 2.0 * x; });
  Random random(3);
  auto samples = play(ladder(-24.0, 1.0, 25, 0.5), stage, random);
  for (double& x : samples) x = std::clamp(x, -1.0, 1.0 - 0x1p-15);
  const auto onset = ladder_onset(samples, rate, {Dbfs(-24.0), Decibels(1.0)});
  REQUIRE(onset);
  CHECK(onset->verdict == OnsetVerdict::input_overload);
  CHECK_FALSE(onset->flat_top);
  CHECK_FALSE(onset->thdn);
  CHECK(onset->highest_clean_step == 19);  // −6 dBFS in is +5.1 − 6 = −0.9 dBFS
}

TEST_CASE("onset: crossover distortion at every level leaves no clean step, and says so") {
  const Law crossover = [](double x) {
    return std::copysign(std::max(0.0, std::abs(x) - 0.03), x);
  };
  Random random(3);
  const auto samples = play(ladder(-24.0, 1.0, 17, 0.5), stage_of(crossover), random);
  const auto onset = ladder_onset(samples, rate, {Dbfs(-24.0), Decibels(1.0)});
  REQUIRE(onset);
  CHECK_FALSE(onset->highest_clean_step);
  CHECK_FALSE(onset->flat_top);
  CHECK(onset->verdict == OnsetVerdict::compresses);
  CHECK_FALSE(onset->reasons.empty());
}

TEST_CASE("onset: a hand on the knob, up and down with pauses and clicks, finds the clean step") {
  const Stage stage = stage_of(hard(rail_dbfs, rail_dbfs));
  std::vector<Played> stretches{{std::nullopt, 1.0}};
  const std::vector<double> inputs{-20.0, -18.0, -16.5, -14.5, -13.0, -11.5, -10.1,
                                   -8.8,  -7.4,  -8.8,  -10.1, -11.5, -14.5};
  const std::vector<double> rests{1.0, 1.4, 0.9, 2.2, 1.2, 1.0, 1.7, 1.1, 1.5, 0.8, 1.3, 0.9, 1.2};
  for (std::size_t i = 0; i < inputs.size(); ++i) {
    stretches.push_back({inputs[i], rests[i]});
    if (i == 4) stretches.push_back({std::nullopt, 1.6});
  }
  Random random(5);
  auto samples = play(stretches, stage, random, 0.03);
  for (const double at : {2.8, 6.1, 12.9}) samples[static_cast<std::size_t>(at * 48000.0)] += 0.5;
  const auto onset = rising_onset(samples, rate);
  CHECK(onset.steps.size() == inputs.size());
  CHECK(onset.verdict == OnsetVerdict::clips);
  REQUIRE(onset.flat_top);
  CHECK_FALSE(onset.flat_top->input);
  CHECK(within_abs(onset.flat_top->level.value(), true_level(stage, rail_dbfs), 0.01));
  REQUIRE(onset.thdn);
  CHECK(within_abs(onset.thdn->level.value(), true_level(stage, *true_thdn_onset(stage, 0.01)),
                   0.01));
  REQUIRE(onset.compression);
  CHECK(within_abs(onset.compression->level.value(),
                   true_level(stage, *true_compression_onset(stage, 0.3)), 0.02));
  REQUIRE(onset.highest_clean_step);
  const auto& clean = onset.steps[static_cast<std::size_t>(*onset.highest_clean_step - 1)];
  CHECK(within_abs(clean.level->value(), true_level(stage, -10.1), 0.01));
  const bool on_the_way_up = within_abs(clean.start.value(), 10.3, 0.06);
  const bool on_the_way_down = within_abs(clean.start.value(), 15.4, 0.06);
  CHECK((on_the_way_up || on_the_way_down));
}

namespace {

bool says(const ChannelOnset& onset, const char* what) {
  return std::any_of(onset.reasons.begin(), onset.reasons.end(), [&](const std::string& reason) {
    return reason.find(what) != std::string::npos;
  });
}

// A recorder that turns down what is over a threshold, by its mean square over 0.3 s.
void control_level(std::vector<double>& samples, double threshold) {
  double mean_square = 0.0;
  for (double& x : samples) {
    mean_square += (x * x - mean_square) / (0.3 * rate.value());
    const double over = std::sqrt(2.0 * mean_square) / threshold;
    if (over > 1.0) x *= std::pow(over, -0.8);
  }
}

}  // namespace

TEST_CASE("onset: automatic level control of the recorder is told, and no knee is taken for it") {
  Random random(6);
  const Stage stage = stage_of(hard(rail_dbfs, rail_dbfs));
  auto samples = play(ladder(-30.0, 1.0, 31, 1.0), stage, random);
  control_level(samples, 0.08);
  const auto onset = ladder_onset(samples, rate, {Dbfs(-30.0), Decibels(1.0)});
  REQUIRE(onset);
  CHECK(says(*onset, "automatic level control"));
  CHECK_FALSE(says(onset_of(stage), "automatic level control"));
  for (const double sharpness : {2.0, 3.0, 8.0, 30.0})
    CHECK_FALSE(says(onset_of(stage_of(soft(-6.0, sharpness))), "automatic level control"));
}

namespace {

// A ladder from -24 to 0 dBFS in steps of half a second, with noise from one time to another.
ChannelOnset onset_under_noise(const Stage& stage, double from_s, double to_s, double rms) {
  Random random(6);
  auto samples = play(ladder(-24.0, 1.0, 25, 0.5), stage, random);
  Gaussian noise(0.0, rms);
  const auto end = static_cast<std::size_t>(to_s * rate.value());
  for (auto n = static_cast<std::size_t>(from_s * rate.value()); n < end; ++n)
    samples[n] += noise(random);
  const auto onset = ladder_onset(samples, rate, {Dbfs(-24.0), Decibels(1.0)});
  REQUIRE(onset);
  return *onset;
}

// Where a step of that ladder begins, from 1.
double start_s(int step) {
  return 0.6 + 0.5 * (step - 1);
}

}  // namespace

TEST_CASE("onset: what disturbs a step in the middle is not its low level, nor crossover") {
  const auto onset = onset_under_noise(stage_of(hard(rail_dbfs, rail_dbfs)), 4.1, 4.6, 0.01);
  CHECK(says(onset, "Another sound lies over step"));
  CHECK_FALSE(says(onset, "too low for this recording"));
  CHECK_FALSE(says(onset, "crossover"));
}

TEST_CASE("onset: another sound over the steps where it clips moves nothing, and is told") {
  const Stage stage = stage_of(hard(rail_dbfs, rail_dbfs));
  // Step 15 is at -10 dBFS, the last below the rail.
  const auto onset = onset_under_noise(stage, start_s(13), start_s(16), 0.01);
  check_input(onset.flat_top, rail_dbfs, 0.01);
  check_input(onset.thdn, *true_thdn_onset(stage, 0.01), 0.01);
  CHECK(onset.highest_clean_step == 12);
  CHECK(says(onset, "Another sound lies over steps 13, 14, 15, left out here"));
  CHECK_FALSE(says(onset, "too low for this recording"));
}

TEST_CASE("onset: a stage that gets noisy where it clips has no other sound over it") {
  const auto onset =
      onset_under_noise(stage_of(hard(rail_dbfs, rail_dbfs)), start_s(15), start_s(26), 0.02);
  CHECK_FALSE(says(onset, "Another sound"));
  REQUIRE(onset.thdn);
  CHECK(onset.thdn->input->value() < -10.0);  // the 15th step is over the limit by its noise
  CHECK(onset.thdn->input->value() > -11.0);
}

TEST_CASE("onset: a level that glides up is cut into slices, and its rail is found") {
  const Stage stage = stage_of(hard(rail_dbfs, rail_dbfs));
  std::vector<Played> stretches;
  for (int i = 0; i < 1000; ++i) stretches.push_back({-24.0 + 0.02 * i, 0.01});
  Random random(5);
  const auto onset = rising_onset(play(stretches, stage, random, 0.01), rate);
  CHECK(onset.verdict == OnsetVerdict::clips);
  REQUIRE(onset.flat_top);
  CHECK(within_abs(onset.flat_top->level.value(), true_level(stage, rail_dbfs), 0.1));
  REQUIRE(onset.highest_clean_step);
}

TEST_CASE("onset: volts follow from the level") {
  Random random(1);
  const Stage stage = stage_of(hard(rail_dbfs, rail_dbfs));
  const auto samples = play(ladder(-20.0, 1.0, 21, 0.5), stage, random);
  const auto track = track_of(samples, rate);
  OnsetLimits limits;
  limits.analysis.volts_per_full_scale = Volts(40.0);
  const auto onset = judge_onset(1, measured(samples, rate, measure::find_plateaus(track)),
                                 std::nullopt, rate, limits);
  REQUIRE(onset.flat_top);
  REQUIRE(onset.flat_top->level_v);
  // 40 V peak at full scale, 0.9·10^(−9.63/20) of it, as RMS; the coupling takes 0.0001 dB.
  CHECK(within_db(onset.flat_top->level_v->value(), 40.0 * 0.9 * peak(rail_dbfs) / std::sqrt(2.0),
                  0.01));
}

TEST_CASE("onset: one level, or none, is no ladder") {
  Random random(1);
  const Stage stage = stage_of(hard(0.0, 0.0));
  CHECK(rising_onset(play({{-20.0, 3.0}}, stage, random), rate).verdict == OnsetVerdict::no_ladder);
  CHECK(rising_onset(play({{std::nullopt, 3.0}}, stage, random), rate).verdict ==
        OnsetVerdict::no_ladder);
}

using namespace railtap::judge;
using railtap::test::within_abs;

TEST_CASE("monotone cubic: between inner points it is SciPy's PCHIP") {
  const std::vector<double> x{0.0, 1.0, 3.0, 4.0, 7.0};
  const std::vector<double> y{0.0, 1.0, 1.5, 4.0, 4.2};
  struct Value {
    double at, expected;
  };
  // scipy.interpolate.PchipInterpolator(x, y), SciPy 1.10; its slopes at the ends are others.
  for (const Value& v : {Value{1.5, 1.1517857142857142}, Value{2.0, 1.2321428571428572},
                         Value{2.9, 1.4532857142857138}, Value{3.25, 1.9537074228791775},
                         Value{3.8, 3.736257069408739}}) {
    CHECK(within_abs(monotone_cubic(x, y, v.at), v.expected, 1e-12));
  }
  for (std::size_t i = 0; i < x.size(); ++i) {
    CHECK(within_abs(monotone_cubic(x, y, x[i]), y[i], 1e-12));
  }
  CHECK(monotone_cubic(x, y, -3.0) == y.front());
  CHECK(monotone_cubic(x, y, 9.0) == y.back());
}

TEST_CASE("monotone cubic: it never leaves the range of its two points") {
  const std::vector<double> x{0.0, 1.0, 1.1, 5.0};
  const std::vector<double> y{0.0, 0.01, 10.0, 10.0};
  double before = 0.0;
  for (int i = 0; i <= 500; ++i) {
    const double value = monotone_cubic(x, y, 0.01 * i);
    CHECK(value >= before);
    CHECK(value <= 10.0 + 1e-12);
    before = value - 1e-12;
  }
}

TEST_CASE("bisect: a change of sign is found to a billionth of the distance") {
  const double root = bisect([](double x) { return x * x - 2.0; }, 0.0, 2.0);
  CHECK(within_abs(root, 1.4142135623730951, 4e-9));
}

// A step cut out of a ladder where a rail holds its neighbours at one level.

using namespace railtap;
using namespace railtap::judge;
using namespace railtap::test;

namespace {

constexpr int planned = 21;
constexpr double head_unit_rail_dbfs = -9.0;

struct Placed {
  std::vector<measure::MeasuredStep> steps;
  measure::AlignedLadder ladder;
};

// Steps of 0.4 s from -20 to 0 dBFS, of which one is cut out.
Placed played_without(std::optional<int> cut_out) {
  const double rail = std::pow(10.0, head_unit_rail_dbfs / 20.0);
  Stage stage;
  stage.law = [=](double x) { return std::clamp(x, -rail, rail); };
  stage.chain = coupling(5.0);
  stage.scale = 0.9;
  stage.noise_rms = 1e-4;
  std::vector<Played> played{{std::nullopt, 0.7}};
  for (int k = 0; k < planned; ++k) {
    if (k != cut_out) played.push_back({-20.0 + k, 0.4});
  }
  played.push_back({std::nullopt, 0.7});
  Random random(5);
  const auto samples = play(played, stage, random);
  const Hertz rate(stage.rate);
  auto ladder = measure::locate_ladder(track_of(samples, rate), {planned, 1.0, {}});
  REQUIRE(ladder);
  auto steps = measured(samples, rate, ladder->steps);
  place_by_distortion(steps, *ladder, planned);
  return {std::move(steps), std::move(*ladder)};
}

}  // namespace

TEST_CASE("ladder hole: a step cut out among flat ones is placed by the distortion") {
  for (const int cut_out : {14, 16, 17}) {
    CAPTURE(cut_out);
    const Placed placed = played_without(cut_out);
    REQUIRE(placed.steps.size() == planned - 1);
    for (std::size_t i = 0; i < placed.steps.size(); ++i) {
      const int index = static_cast<int>(i);
      CHECK(placed.steps[i].step.index == (index < cut_out ? index : index + 1));
    }
    CHECK(placed.ladder.by_distortion == std::vector<int>{cut_out});
    REQUIRE(placed.ladder.missing.size() == 1);
    CHECK(placed.ladder.missing[0].index == cut_out);
    CHECK_FALSE(placed.ladder.muted);
  }
}

TEST_CASE("ladder hole: nothing is placed where nothing is missing, or the level shows it") {
  for (const auto cut_out : {std::optional<int>(), std::optional(5)}) {
    const Placed placed = played_without(cut_out);
    CHECK(placed.ladder.by_distortion.empty());
    CHECK(placed.steps.back().step.index == planned - 1);
  }
}

TEST_CASE("ladder: a syllable over a clipped step is no step behind one that was cut out") {
  Stage stage;
  const double rail = std::pow(10.0, head_unit_rail_dbfs / 20.0);
  stage.law = [=](double x) { return std::clamp(x, -rail, rail); };
  stage.chain = coupling(5.0);
  stage.scale = 0.5;
  stage.noise_rms = 1e-4;
  Random random(5);
  auto samples = play(ladder(-20.0, 1.0, planned, 0.4, 0.7), stage, random);
  const Hertz rate(stage.rate);
  // Over step 12, for 0.7 of it: with the tone, clipped by then, as loud as 3 steps more would be.
  const double tone = 0.5 * stage.scale * stage.scale * rail * rail;
  std::normal_distribution<double> voice(0.0, std::sqrt(0.7 * tone));
  const auto first = static_cast<std::size_t>((0.7 + 12 * 0.4) * rate.value());
  for (std::size_t n = 0; n < static_cast<std::size_t>(0.28 * rate.value()); ++n)
    samples[first + n] += voice(random);
  const auto found = measure::locate_ladder(track_of(samples, rate), {planned, 1.0, {}});
  REQUIRE(found);
  CHECK(found->numbering == measure::Numbering::start);
  REQUIRE(found->steps.size() >= planned - 1);
  for (const measure::Step& step : found->steps) {
    const double middle_s = 0.5 * static_cast<double>(step.first + step.end) / rate.value() - 0.7;
    CHECK(step.index == static_cast<int>(middle_s / 0.4));
  }
}
