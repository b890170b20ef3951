// SPDX-License-Identifier: MIT
// A rig's description as text: the camper van, and what is said about mistakes.
#include <doctest/doctest.h>

#include <string>

#include "rig/description.hpp"
#include "rig/instruments.hpp"
#include "rig_support.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;

namespace {

std::string van() {
  return std::string(rig::camper_van_text());
}

std::string with(const std::string& found, const std::string& replacement) {
  std::string text = van();
  text.replace(text.find(found), found.size(), replacement);
  return text;
}

std::string error_of(const std::string& text) {
  try {
    (void)rig::parse_rig(text, "van.toml");
  } catch (const Error& error) {
    return error.what();
  }
  return "no error";
}

}  // namespace

TEST_CASE("rig description: the camper van is as described") {
  const rig::Rig rig = rig::parse_rig(van(), "camper_van.toml");
  CHECK(rig.head_unit.steps == 40);
  CHECK(rig.amplifiers.size() == 2);
  CHECK(rig.amplifiers[0].controls.size() == 2);
  CHECK(rig.amplifiers[1].controls[0].inputs[0].left == 0.5);
  CHECK(rig.amplifiers[1].controls[0].inputs[0].rear);
  // 12.2 V peak is 8.627 V RMS; 16.6 V less 6 dB is 8.32 V at step 36.
  CHECK(highest_clean_step(rig, Dbfs(0.0)) == 36);
}

TEST_CASE("rig description: an unknown key is an error with its line and the nearest key") {
  const std::string error = error_of(with("drop_v = 2.2", "dorp_v = 2.2"));
  CHECK(error.find("unknown key head_unit.dorp_v") != std::string::npos);
  CHECK(error.find("did you mean drop_v?") != std::string::npos);
  CHECK(error.find("van.toml, line 17") != std::string::npos);
}

TEST_CASE("rig description: each mistake is named") {
  CHECK(error_of(with("rail_v = 23.4", "rail_v = -1")).find("give more than 0") !=
        std::string::npos);
  CHECK(error_of(with("rail_v = 23.4", "rail_v = \"23.4V\"")).find("is not a number") !=
        std::string::npos);
  CHECK(error_of(with("rail_v = 23.4", "")).find("rail_v is missing") != std::string::npos);
  CHECK(error_of(with("railtap.rig/1", "railtap.rig/2")).find("this version reads") !=
        std::string::npos);
  CHECK(error_of(with("\"front left\"", "\"front middle\"")).find("not understood") !=
        std::string::npos);
  CHECK(error_of(with("bits = 24", "bits = 24.5")).find("whole number") != std::string::npos);
  CHECK(
      error_of(with("name = \"rear\"", "name = \"front\"")).find("two controls are named front") !=
      std::string::npos);
  CHECK(error_of(with("name = \"rear\"", "name = \"../rear\"")).find("no file name") !=
        std::string::npos);
  CHECK(error_of("[").find("is not TOML") != std::string::npos);
  CHECK(error_of("").find("schema is missing") != std::string::npos);
}

TEST_CASE("rig multimeter: right on a sine within its band but for its own error, low beyond it") {
  rig::Rig rig = rig::parse_rig(van(), "camper_van.toml");
  rig::Play play;
  play.volume = {{Seconds(0.0), 30}};
  const auto reading = [&](double hz) {
    return read_meter(rig, play, test::sine(Hertz(48000.0), Hertz(hz), 1.0, Seconds(2.0))).value();
  };
  const double truth = 16.6 * std::pow(10.0, -15.0 / 20.0);
  // 0.6 of 1.2 % high and one count down; at 200 Hz its pole takes 0.13 %.
  CHECK(test::within_abs(reading(200.0), truth * 1.0072 * 0.99875 - 0.01, 0.006));
  CHECK(test::within_rel(reading(5000.0), truth * 0.62, 0.03));  // far beyond: one pole at 3985 Hz
  rig.multimeter.gain_error_share = 0.0;
  rig.multimeter.offset_counts = 0.0;
  // A clipped tone: at 3 dB over both rails the mean rectified value reads 2.0 % above true RMS.
  play.volume = {{Seconds(0.0), 40}};
  const double overdrive = 16.6 * std::sqrt(2.0) / 12.2;
  const double c = 1.0 / overdrive, t = std::asin(c);
  const double mean =
      2.0 / std::numbers::pi * (1.0 - std::cos(t) + c * (std::numbers::pi / 2.0 - t));
  const double expected = mean * 16.6 * std::sqrt(2.0) * std::numbers::pi / (2.0 * std::sqrt(2.0));
  CHECK(test::within_rel(reading(100.0), expected, 0.002));
}

TEST_CASE(
    "rig description: level control, gaps and missing samples are read, and their limits kept") {
  const auto in_card = [](const std::string& keys) {
    return with("bits = 24", "bits = 24\n" + keys);
  };
  const rig::SoundCard card =
      rig::parse_rig(in_card("level_control_dbfs = -18\nlevel_control_rise_db_per_s = 5\n"
                             "level_control_hysteresis_db = 2\nlevel_control_range_db = 9\n"
                             "gap_every_s = 0.7\ngap_s = 0.02\n"
                             "missing_every_s = 1.3\nmissing_s = 0.004\n"),
                     "van.toml")
          .sound_card;
  REQUIRE(card.level_control);
  CHECK(card.level_control->level == Dbfs(-18.0));
  CHECK(card.level_control->rise_db_per_s == 5.0);
  CHECK(card.level_control->hysteresis == Decibels(2.0));
  CHECK(card.level_control->range == Decibels(9.0));
  CHECK(card.gaps.every == Seconds(0.7));
  CHECK(card.gaps.length == Seconds(0.02));
  CHECK(card.missing.every == Seconds(1.3));
  CHECK(card.missing.length == Seconds(0.004));
  CHECK_FALSE(rig::parse_rig(van(), "van.toml").sound_card.level_control);
  CHECK_FALSE(rig::parse_rig(van(), "van.toml").sound_card.gaps.every);
  for (const char* wrong : {"level_control_dbfs = 1", "level_control_range_db = 0",
                            "gap_every_s = 0", "missing_s = -1"}) {
    CAPTURE(wrong);
    CHECK(error_of(in_card(wrong)).find("sound_card.") != std::string::npos);
  }
}
