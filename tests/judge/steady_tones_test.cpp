// SPDX-License-Identifier: MIT
// The response at steady tones, and what is said where a sweep says otherwise.
#include "judge/steady_tones.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <string>

#include "judge/filters.hpp"
#include "measure/known_steps.hpp"
#include "signal/tone.hpp"
#include "support/basics.hpp"
#include "support/recorded_tones.hpp"

using namespace railtap;
using namespace railtap::judge;

namespace {

constexpr Hertz rate{48000.0};
const signal::SteppedSine kit{signal::third_octaves(13, 11), Dbfs(-20), Seconds(1)};
const Filter boost{FilterKind::peaking, FilterFamily::none, 0, Hertz(45), Decibels(6), 1.2};
constexpr double gain_db = -3.0;

double boost_db(Hertz f) {
  return 20.0 * std::log10(std::abs(response(boost, f)));
}

std::vector<double> boosted() {
  std::vector<double> gains;
  for (const Hertz f : kit.frequencies) gains.push_back(gain_db + boost_db(f));
  return gains;
}

std::vector<measure::ResponsePoint> sweep_of_the_boost() {
  std::vector<measure::ResponsePoint> points;
  for (int k = 0; k <= 120; ++k) {
    const Hertz f(15.0 * std::exp2(k / 24.0));
    points.push_back({f, Decibels(gain_db + boost_db(f)), 0.0, Decibels(0.01)});
  }
  return points;
}

SteppedReading reading_of(const test::RecordedTones& tones) {
  const auto x = test::samples_of(tones);
  const measure::PartPlace place{static_cast<double>(tones.lead), tones.clock_ratio};
  return {measure::measure_stepped_sine(x, rate, {steady_tone_band(kit), std::nullopt}, kit, place),
          kit, rate, tones.clock_ratio};
}

struct Said {
  SteadyTones found;
  std::vector<Finding> findings;

  [[nodiscard]] std::string text() const {
    std::string all;
    for (const Finding& f : findings) all += f.text + "\n";
    return all;
  }
  [[nodiscard]] bool all_notes() const {
    return std::all_of(findings.begin(), findings.end(),
                       [](const Finding& f) { return f.severity == Severity::note; });
  }
};

Said judged(const test::RecordedTones& tones, bool with_sweep = true) {
  static const auto points = sweep_of_the_boost();
  SweptChannel swept;
  if (with_sweep) swept = {&points, Decibels(gain_db)};
  SteadyToneLimits limits;
  limits.analysis.volts_per_full_scale = Volts(40.0);
  limits.analysis.band = steady_tone_band(kit);
  Said said;
  said.found = judge_steady_tones(reading_of(tones), swept, nullptr, limits);
  say_steady_tones(said.found, limits, said.findings);
  return said;
}

}  // namespace

TEST_CASE("steady tones: a bass boost shows at the tones alone, in volts and re the reference") {
  const Said said = judged({kit, boosted(), 1.005}, false);
  REQUIRE(said.found.filters.has_value());
  REQUIRE(said.found.filters->filters.size() == 1);
  const Filter& found = said.found.filters->filters.front();
  CHECK(found.kind == FilterKind::peaking);
  // The tones come 0.5 % lower from a slow clock, and so does the boost.
  CHECK(test::within_rel(found.frequency.value(), 45.0 / 1.005, 0.03));
  CHECK(test::within_abs(found.gain.value(), 6.0, 0.2));
  REQUIRE(said.found.reference.has_value());
  CHECK(test::within_abs(said.found.reference->value(), gain_db, 0.1));
  REQUIRE(said.found.tones.size() == kit.frequencies.size());
  for (std::size_t k = 0; k < said.found.tones.size(); ++k) {
    const SteadyTone& tone = said.found.tones[k];
    CAPTURE(tone.played.value());
    REQUIRE(tone.response.has_value());
    CHECK(test::within_abs(tone.response->value(), boosted()[k], 0.01));
    CHECK(test::within_abs(tone.relative->value(), boost_db(tone.played), 0.1));
    // −20 dBFS is a tenth of 40 V peak.
    REQUIRE(tone.findings.level_v.has_value());
    CHECK(test::within_db(tone.findings.level_v->value(),
                          4.0 / std::sqrt(2.0) * std::pow(10.0, boosted()[k] / 20.0), 0.01));
    CHECK(tone.findings.verdict == Verdict::clean);
    CHECK_FALSE(tone.re_sweep.has_value());
  }
  CHECK(said.all_notes());
}

TEST_CASE("steady tones: a sweep that shows the same is said to agree") {
  const Said said = judged({kit, boosted()});
  REQUIRE(said.found.re_sweep.has_value());
  CHECK(test::within_abs(said.found.re_sweep->value(), 0.0, 0.02));
  CHECK_MESSAGE(said.all_notes(), said.text());
  CHECK(said.text().find("agree") != std::string::npos);
}

TEST_CASE("steady tones: a step that the sweep does not show reacts to level") {
  auto gains = boosted();
  gains[2] += 2.0;
  const Said said = judged({kit, gains});
  CHECK_FALSE(said.all_notes());
  REQUIRE(said.found.most_off.has_value());
  CHECK(said.found.most_off->frequency.value() == doctest::Approx(31.5));
  CHECK(test::within_abs(said.found.most_off->magnitude.value(), 2.0, 0.05));
  CHECK(said.text().find("At 31.5 Hz steady tone and sweep differ by +2.0 dB: something reacts") !=
        std::string::npos);
}

TEST_CASE("steady tones: another volume is told from another response") {
  auto gains = boosted();
  for (double& gain : gains) gain += 3.0;
  const Said said = judged({kit, gains});
  CHECK(said.text().find("come out +3.0 dB against the sweep") != std::string::npos);
  CHECK(said.text().find("reacts to level") == std::string::npos);
}

TEST_CASE("steady tones: flat tops are told with the tone that is furthest over") {
  // 20·log10(A/rail): the boost takes the 40 and 50 Hz tones over a rail at -18 dBFS.
  test::RecordedTones tones{kit, boosted()};
  tones.rail = 0.1 * std::pow(10.0, 2.0 / 20.0);
  const Said said = judged(tones);
  const std::string text = said.text();
  CHECK_MESSAGE(
      text.find("Of the steady tones 2 have flat tops, most at 50 Hz, 0.6") != std::string::npos,
      text);
  const auto clipped = std::count_if(said.found.tones.begin(), said.found.tones.end(), [](auto& t) {
    return t.findings.verdict == Verdict::clipped;
  });
  CHECK(clipped == 2);
}

TEST_CASE("steady tones: hum in place of a tone is no response") {
  // Nothing but noise and mains at 50 Hz: the step at 50 Hz is there, the others are not.
  std::vector<double> gains(kit.frequencies.size(), -200.0);
  test::RecordedTones tones{kit, gains};
  const SteppedReading reading = [&] {
    auto x = test::samples_of(tones);
    for (std::size_t n = 0; n < x.size(); ++n)
      x[n] += 0.01 * std::sin(2.0 * std::numbers::pi * 50.0 * static_cast<double>(n) / 48000.0);
    return SteppedReading{
        measure::measure_stepped_sine(x, rate, {}, kit, {static_cast<double>(tones.lead), 1.0}),
        kit, rate, 1.0};
  }();
  const SteadyTones found = judge_steady_tones(reading, {}, nullptr, {});
  for (const SteadyTone& tone : found.tones) {
    CAPTURE(tone.played.value());
    CHECK(tone.response.has_value() == (tone.played.value() == 50.0));
  }
}
