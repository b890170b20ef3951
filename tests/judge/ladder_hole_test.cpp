// SPDX-License-Identifier: MIT
// A step cut out of a ladder where a rail holds its neighbours at one level.
#include "judge/ladder_gaps.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <random>
#include <vector>

#include "support/onset_of.hpp"
#include "support/played_steps.hpp"
#include "support/random_draws.hpp"

using namespace railtap;
using namespace railtap::judge;
using namespace railtap::test;

namespace {

constexpr int planned = 21;
constexpr double rail_dbfs = -9.0;

struct Placed {
  std::vector<measure::MeasuredStep> steps;
  measure::AlignedLadder ladder;
};

// Steps of 0.4 s from -20 to 0 dBFS, of which one is cut out.
Placed played_without(std::optional<int> cut_out) {
  const double rail = std::pow(10.0, rail_dbfs / 20.0);
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
