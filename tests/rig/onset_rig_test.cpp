// SPDX-License-Identifier: MIT
// The onset of every fault that the rig knows, and which stage clips first, against its settings.
#include <doctest/doctest.h>

#include <cmath>
#include <memory>
#include <numbers>

#include "judge/ladder_gaps.hpp"
#include "judge/stage.hpp"
#include "measure/ladder_alignment.hpp"
#include "rig/description.hpp"
#include "rig_support.hpp"
#include "signal/generator.hpp"
#include "support/basics.hpp"
#include "support/onset_of.hpp"

using namespace railtap;

namespace {

constexpr Hertz rate{48000.0};
constexpr Dbfs first{-14.0};
constexpr Decibels rise{1.0};
constexpr double rail_v = 22.0;

/// A ladder from −14 to 0 dBFS as a player plays it.
audio::Source ladder(Hertz tone) {
  signal::Track track;
  track.name = "ladder";
  track.parts = {{signal::LevelLadder{tone, first, Dbfs(0.0), rise, Seconds(0.4)},
                  signal::Channels::both, signal::MarkerBand::none}};
  const auto generator = std::make_shared<signal::Generator>(track, rate, 1.0);
  audio::StreamFormat format;
  format.rate = rate;
  format.channels = 2;
  return {format, [generator](std::span<double> out) { return generator->render(out); }};
}

/// An amplifier whose rail of 22 V peak is reached some 4 dB below full scale, behind a head unit
/// that stays clean, recorded by an ordinary card.
rig::Rig plain_rig() {
  rig::Rig rig = test::faultless_rig();
  rig.head_unit.full_output = Volts(5.0);
  rig.amplifiers[0].controls[0].travel = 0.6;
  rig.sound_card.noise = Dbfs(-95.0);
  rig.sound_card.bits = 24;
  rig.sound_card.dither = true;
  return rig;
}

judge::ChannelOnset onset_of(const rig::Rig& rig, rig::TapPoint::At at, Hertz tone,
                             bool loaded = false) {
  rig::Play play;
  play.point.at = at;
  play.volume = {{Seconds(0.0), rig.head_unit.steps}};
  play.speakers_connected = loaded;
  const auto samples = test::channel_of(rig::record(rig, play, ladder(tone)), 0);
  const auto track = test::track_of(samples, rate);
  // As with a marker: the place is known near enough, the edges are found.
  measure::LadderPlan plan;
  plan.steps = 15;
  plan.rise_db = rise.value();
  const auto placement = measure::place_ladder(track, measure::find_plateaus(track), plan);
  REQUIRE((placement.fit == measure::Fit::whole || placement.fit == measure::Fit::cut_short));
  const auto steps = test::measured(samples, rate, measure::cut_evenly(track, placement.grid));
  judge::OnsetLimits limits;
  limits.analysis.volts_per_full_scale = volts_per_full_scale(rig);
  return judge::judge_onset(1, steps, judge::LadderInput{first, rise}, rate, limits);
}

judge::ChannelOnset amplifier_onset(const rig::Rig& rig, Hertz tone = Hertz(1000.0),
                                    bool loaded = false) {
  return onset_of(rig, rig::TapPoint::At::amplifier, tone, loaded);
}

double rms(double peak) {
  return peak / std::numbers::sqrt2;
}

void check_flat_top(const judge::ChannelOnset& onset, double volts, double tolerance_db) {
  CHECK(onset.verdict == judge::OnsetVerdict::clips);
  REQUIRE(onset.flat_top);
  REQUIRE(onset.flat_top->level_v);
  CAPTURE(onset.flat_top->level_v->value());
  CHECK(test::within_db(onset.flat_top->level_v->value(), volts, tolerance_db));
  CHECK(onset.thdn);
  CHECK(onset.compression);
  CHECK(onset.highest_clean_step);
}

void check_never_flat(const judge::ChannelOnset& onset) {
  CHECK(onset.verdict != judge::OnsetVerdict::clips);
  CHECK_FALSE(onset.flat_top);
  for (const auto& step : onset.steps) CHECK(step.verdict != judge::Verdict::clipped);
}

}  // namespace

TEST_CASE("rig onset: a hard rail is found at its voltage, 1 kHz and 50 Hz") {
  for (const double hz : {1000.0, 50.0}) {
    check_flat_top(amplifier_onset(plain_rig(), Hertz(hz)), rms(rail_v), 0.02);
  }
}

TEST_CASE("rig onset: a soft knee clips within its knee") {
  rig::Rig rig = plain_rig();
  rig.amplifiers[0].output.knee = Percent(4.0);
  // The gain falls to nothing between 0.96 and 1.04 of the rail: the onset lies there.
  check_flat_top(amplifier_onset(rig), rms(rail_v), 20.0 * std::log10(1.0 / 0.96));
}

TEST_CASE("rig onset: with asymmetric rails the nearer one decides") {
  rig::Rig rig = plain_rig();
  rig.amplifiers[0].output.asymmetry = Percent(6.0);
  const auto onset = amplifier_onset(rig);
  check_flat_top(onset, rms(0.94 * rail_v), 0.02);
  REQUIRE(onset.highest_clean_step);
  const auto& next = onset.steps[static_cast<std::size_t>(*onset.highest_clean_step)];
  CHECK_FALSE(next.overdrive_positive);
  CHECK(next.overdrive_negative);
}

TEST_CASE("rig onset: a supply that sags under load is followed to where clipping begins") {
  rig::Rig rig = plain_rig();
  rig.amplifiers[0].output.sag_resistance = Ohms(0.3);
  const double truth = clip_onset(rig, rig.amplifiers[0], Ohms(4.0)).value();
  check_flat_top(amplifier_onset(rig, Hertz(1000.0), true), truth, 0.1);
}

TEST_CASE("rig onset: a limiter compresses and does not clip") {
  rig::Rig rig = plain_rig();
  rig.amplifiers[0].output.limiter = rig::Limiter{Volts(15.0), Seconds(0.0005), Seconds(0.3)};
  const auto onset = amplifier_onset(rig);
  check_never_flat(onset);
  CHECK(onset.verdict == judge::OnsetVerdict::compresses);
  REQUIRE(onset.compression);
  // 0.3 dB down a little above the threshold.
  CHECK(test::within_db(onset.compression->level_v->value(), rms(15.0), 0.4));
}

TEST_CASE("rig onset: crossover distortion is no clipping, and a rail above it still is") {
  rig::Rig rig = plain_rig();
  rig.amplifiers[0].output.crossover = Volts(0.05);
  check_flat_top(amplifier_onset(rig), rms(rail_v), 0.05);
  rig.amplifiers[0].controls[0].travel = 0.2;  // the rail is out of reach
  check_never_flat(amplifier_onset(rig));
}

TEST_CASE("rig onset: a slew limit distorts and does not clip") {
  rig::Rig rig = plain_rig();
  rig.amplifiers[0].output.slew_v_per_us = 0.43;  // 13.7 V at 5 kHz; a triangle of 21.5 V at most
  const auto onset = amplifier_onset(rig, Hertz(5000.0));
  check_never_flat(onset);
  CHECK(onset.verdict == judge::OnsetVerdict::compresses);
}

TEST_CASE("rig onset: a protection that mutes the amplifier is told, with its volts") {
  rig::Rig rig = plain_rig();
  // It trips 0.25 s into the second step that is over it.
  rig.amplifiers[0].output.protection = rig::Protection{Volts(21.0), Seconds(0.4 + 0.25)};
  rig::Play play;
  play.point.at = rig::TapPoint::At::amplifier;
  play.volume = {{Seconds(0.0), rig.head_unit.steps}};
  const auto samples = test::channel_of(rig::record(rig, play, ladder(Hertz(1000.0))), 0);
  const auto found = measure::locate_ladder(test::track_of(samples, rate), {15, 1.0, {}});
  REQUIRE(found);
  const judge::LadderInput input{first, rise};
  judge::OnsetLimits limits;
  limits.analysis.volts_per_full_scale = volts_per_full_scale(rig);
  auto onset =
      judge::judge_onset(1, test::measured(samples, rate, found->steps), input, rate, limits);
  judge::tell_gaps(onset, *found, input, 15, rate);
  REQUIRE(onset.went_silent);
  REQUIRE(onset.went_silent->level_v);
  CHECK(onset.went_silent->amid_step);
  const int after = onset.went_silent->after_step;
  CHECK(static_cast<int>(onset.missing_steps.size()) == 15 - after);
  // The rail of 22 V decides what the step before had; it was over 21 V.
  CHECK(onset.went_silent->level_v->value() > rms(21.0));
  CHECK(onset.went_silent->level_v->value() < 22.0);
  check_flat_top(onset, rms(rail_v), 0.02);
}

TEST_CASE("rig stage: a head unit that clips first is told from an amplifier that does") {
  rig::Rig rig = plain_rig();
  const auto compared = [&] {
    return judge::compare_stages(onset_of(rig, rig::TapPoint::At::head_unit_front, Hertz(1000.0)),
                                 amplifier_onset(rig));
  };
  const auto amplifier = compared();
  CHECK(amplifier.first == judge::FirstStage::amplifier);
  CHECK_FALSE(amplifier.first_step_before);

  rig.head_unit.full_output = Volts(10.0);     // 10 V rails: 3 dB over
  rig.amplifiers[0].controls[0].travel = 0.2;  // rails out of reach
  const auto source = compared();
  CHECK(source.first == judge::FirstStage::source);
  CHECK_FALSE(source.first_step_added);

  rig.amplifiers[0].controls[0].travel = 0.45;  // now both, the amplifier 4 dB earlier
  const auto both = compared();
  CHECK(both.first == judge::FirstStage::amplifier);
  REQUIRE(both.first_step_before);
  CHECK(*both.first_step_before > *both.first_step_added);
}
