// SPDX-License-Identifier: MIT
// The demo against the rig's own settings, which it never sees.
#include <doctest/doctest.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>

#include "command/demo.hpp"
#include "files/atomic_file.hpp"
#include "rig/description.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;

namespace {

namespace fs = std::filesystem;

/// A folder of its own that goes away again.
struct Folder {
  fs::path path = fs::temp_directory_path() / ("railtap_demo_test_" + std::to_string(getpid()));
  Folder() { fs::remove_all(path); }
  ~Folder() { fs::remove_all(path); }
};

rig::Rig van() {
  return rig::parse_rig(rig::camper_van_text(), "camper_van.toml");
}

report::DemoDocument demo_of(const rig::Rig& rig, const Folder& folder) {
  std::ostringstream notes;
  return run_demo(command::make_bench(rig),
                  command::open_demo_folder(folder.path, files::Overwrite::refuse), notes);
}

/// How far all volts are off, because the meter is: found over true.
double calibration_error(const rig::Rig& rig, const report::DemoDocument& document) {
  return document.calibration.found.volts_per_full_scale / volts_per_full_scale(rig);
}

/// RMS at an amplifier's terminals when a full-scale tone plays, by the rig's own settings.
double true_level(const rig::Rig& rig, const rig::Amplifier& amplifier, rig::Control control,
                  double travel, int step) {
  control.travel = travel;
  return rig.head_unit.full_output.value() * volume_gain(rig.head_unit, step) *
         gain(amplifier, control);
}

}  // namespace

TEST_CASE("demo: what it finds and sets in the camper van matches the rig's own settings") {
  const Folder folder;
  const rig::Rig rig = van();
  const report::DemoDocument document = demo_of(rig, folder);
  CHECK(document.within_limits);

  const double error = calibration_error(rig, document);
  REQUIRE(document.calibration.found.uncertainty.has_value());
  CHECK(std::abs(error - 1.0) * 100.0 < document.calibration.found.uncertainty->value());

  CHECK(document.head_unit.highest_clean_step == highest_clean_step(rig, Dbfs(0.0)));
  REQUIRE(document.head_unit.onset.has_value());
  // The knee is a corner: to 0.02 dB, when the meter's own error is taken out.
  CHECK(test::within_db(document.head_unit.onset->value() / error,
                        head_unit_clip_onset(rig).value(), 0.02));

  REQUIRE(document.channels.size() == 5);
  for (std::size_t n = 0; n < document.channels.size(); ++n) {
    const report::DemoChannel& channel = document.channels[n];
    CAPTURE(channel.input);
    const rig::Amplifier& amplifier = rig.amplifiers[n < 4 ? 0 : 1];
    const rig::Control& control = amplifier.controls[n < 2 || n == 4 ? 0 : 1];
    REQUIRE(channel.onset.has_value());
    // The bass amplifier has a knee of ±2 % (0.17 dB), within which its onset may be put.
    CHECK(test::within_db(channel.onset->value() / error, clip_onset(rig, amplifier, {}).value(),
                          n < 4 ? 0.02 : 0.35));
    const double mismatch = n % 2 == 1 ? amplitude_ratio(control.mismatch) : 1.0;
    const double level = mismatch * true_level(rig, amplifier, control, channel.travel,
                                               document.head_unit.highest_clean_step);
    // At 50 Hz the coupling capacitors take 0.02 dB.
    CHECK(test::within_db(channel.reached_v.value() / error, level, n < 4 ? 0.01 : 0.04));
    CHECK(test::within_db(level * error, channel.target.value(), 0.25));
    CHECK(channel.reached.verdict == judge::Verdict::clean);
  }
  CHECK(document.channels[0].found.verdict == judge::Verdict::clipped);
  CHECK(document.channels[2].found.verdict == judge::Verdict::clean);
  CHECK(document.channels[4].meter.has_value());        // 50 Hz is in the meter's band
  CHECK_FALSE(document.channels[0].meter.has_value());  // 1 kHz is not

  REQUIRE(document.verifications.size() == 3);
  const report::DemoVerification& bass = document.verifications[2];
  CHECK(bass.control == "bass");
  CHECK(bass.found.empty());
  CHECK(bass.carries == std::vector<std::string>{"both"});
  const auto verified = nlohmann::json::parse(
      files::read_file(folder.path / "results" / "bass-verify-found.json", 10'000'000));
  const auto& tones = verified["channels"][0]["steady_tones"];
  REQUIRE(tones["tones"].size() == 11);
  CHECK(std::abs(tones["re_sweep_db"].get<double>()) < 0.05);
  // The head unit gives both sides alike at this volume, 20 dB below full scale; the bass sums
  // them.
  const double played =
      true_level(rig, rig.amplifiers[1], rig.amplifiers[1].controls[0],
                 rig.amplifiers[1].controls[0].travel, document.head_unit.highest_clean_step);
  CHECK(test::within_db(tones["tones"][10]["level_v"].get<double>() / error, 0.1 * played, 0.02));

  for (const char* file : {"calibration.toml", "tones/volume-1000hz.wav", "captures/front-set.wav",
                           "results/bass-set.json"}) {
    CHECK(fs::exists(folder.path / file));
  }
  CHECK_THROWS_WITH_AS((void)command::open_demo_folder(folder.path, files::Overwrite::refuse),
                       doctest::Contains("not empty"), Error);
}

TEST_CASE("demo: where the amplifier clips below its rating, clipping sets the voltage") {
  const Folder folder;
  rig::Rig rig = van();
  rig.amplifiers[0].output.rail = Volts(20.0);  // 14.8 V would be 21 V peak
  rig.amplifiers.resize(1);
  rig.amplifiers[0].controls.resize(1);
  const report::DemoDocument document = demo_of(rig, folder);
  REQUIRE(document.channels.size() == 2);
  const double error = calibration_error(rig, document);
  const double onset = clip_onset(rig, rig.amplifiers[0], {}).value();
  CHECK(document.head_unit.highest_clean_step == highest_clean_step(rig, Dbfs(0.0)));
  for (const report::DemoChannel& channel : document.channels) {
    CHECK(channel.limited_by == report::DemoLimit::clipping);
    // 0.1 dB is left to the rail.
    CHECK(
        test::within_db(channel.target.value() / error, onset * std::pow(10.0, -0.1 / 20.0), 0.02));
  }
}

TEST_CASE("demo: with the engine off the supply sets the voltage") {
  const Folder folder;
  rig::Rig rig = van();
  rig.supply.voltage = Volts(12.4);
  rig.amplifiers.resize(1);
  rig.amplifiers[0].controls.resize(1);
  const report::DemoDocument document = demo_of(rig, folder);
  REQUIRE(document.channels.size() == 2);
  for (const report::DemoChannel& channel : document.channels) {
    CHECK(channel.limited_by == report::DemoLimit::supply);
    // √(55·4)·12.4/14.4
    CHECK(test::within_rel(channel.target.value(), 12.772342, 1e-6));
  }
}

TEST_CASE("demo: a recording input that overloads is an error, not an amplifier that clips") {
  const Folder folder;
  rig::Rig rig = van();
  rig.tap.nominal_attenuation = 20.0;
  rig.amplifiers.resize(1);
  CHECK_THROWS_WITH_AS((void)demo_of(rig, folder),
                       doctest::Contains("the recording input is overloaded"), Error);
}

TEST_CASE("demo: a loudness switch that is on is told from an amplifier that clips") {
  const Folder folder;
  rig::Rig rig = van();
  rig.head_unit.tone.loudness = true;
  rig.amplifiers.erase(rig.amplifiers.begin());
  const report::DemoDocument document = demo_of(rig, folder);
  CHECK_FALSE(document.within_limits);
  REQUIRE(document.channels.size() == 1);
  CHECK(document.channels[0].reached.verdict == judge::Verdict::clipped);
  CHECK(document.channels[0].clipped_before_amplifier);
}

TEST_CASE("demo: a gain that a limiter holds is not turned up for ever") {
  const Folder folder;
  rig::Rig rig = van();
  rig.amplifiers.resize(1);
  rig.amplifiers[0].controls.resize(1);
  rig.amplifiers[0].controls[0].travel = 0.1;
  rig.amplifiers[0].output.limiter = rig::Limiter{Volts(18.0), Seconds(0.001), Seconds(0.2)};
  const report::DemoDocument document = demo_of(rig, folder);
  CHECK_FALSE(document.within_limits);
  CHECK(document.channels[0].held);
  CHECK(document.channels[0].travel < 0.4);
  CHECK(document.channels[0].direction == electric::Direction::raise);
}

TEST_CASE("demo: an inverted channel is named, mended as other faults are, and verified again") {
  const Folder folder;
  rig::Rig rig = van();
  rig.amplifiers.resize(1);
  rig.amplifiers[0].controls.resize(1);
  rig.amplifiers[0].controls[0].input_names[1] = "-front right";
  rig.amplifiers[0].controls[0].inputs[1].right = -1.0;
  const report::DemoDocument document = demo_of(rig, folder);
  CHECK(document.within_limits);
  REQUIRE(document.verifications.size() == 1);
  const report::DemoVerification& front = document.verifications[0];
  // The pairs are swapped too, so the crossed wires come out at the other channel.
  const auto said = [](const std::vector<std::string>& list, const std::string& text) {
    return std::find(list.begin(), list.end(), text) != list.end();
  };
  CHECK(said(front.found,
             "front left is inverted: plus and minus are exchanged somewhere on the way."));
  CHECK(said(front.corrected, "exchanged plus and minus of front left"));
  CHECK(said(front.corrected, "exchanged the pairs of left and right"));
  CHECK(front.left.empty());
  REQUIRE(document.channels.size() == 2);
  CHECK(document.channels[1].input == "front right");
  CHECK(report::verdict_of(document.channels[1]) == "clean");
}

TEST_CASE("demo: wiring that it cannot mend keeps a channel that is set from reading clean") {
  const Folder folder;
  rig::Rig rig = van();
  rig.amplifiers.resize(1);
  rig.amplifiers[0].controls.resize(1);
  rig.amplifiers[0].controls[0].faults.swapped = false;
  rig.amplifiers[0].controls[0].inputs[1] = rig.amplifiers[0].controls[0].inputs[0];
  const report::DemoDocument document = demo_of(rig, folder);
  CHECK_FALSE(document.within_limits);
  REQUIRE(document.channels.size() == 2);
  CHECK(report::verdict_of(document.channels[0]) == "clean");
  CHECK(report::verdict_of(document.channels[1]) == "wiring");
  CHECK(document.channels[1].faults ==
        std::vector<std::string>{"front right carries the left side instead of the right side."});
}
