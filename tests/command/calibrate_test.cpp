// SPDX-License-Identifier: MIT
// The calibrate command from a sound file to a calibration file.
#include <doctest/doctest.h>

#include <cmath>
#include <iostream>
#include <nlohmann/json.hpp>
#include <numbers>
#include <sstream>
#include <string>
#include <vector>

#include "audio/sound_file.hpp"
#include "command/program.hpp"
#include "support/basics.hpp"
#include "system/kept_files.hpp"
#include "units/error.hpp"

using namespace railtap;
using command::ExitStatus;

namespace {

std::string tone_file(const test::TemporaryFolder& folder, double hz, double peak) {
  const auto path = folder.path() / "tone.wav";
  audio::SoundFileSpec spec;
  spec.channels = 1;
  auto sink = audio::create_sound_file(path, spec, files::Overwrite::allow);
  std::vector<double> samples(3 * 48000);
  for (std::size_t n = 0; n < samples.size(); ++n) {
    samples[n] = peak * std::sin(2.0 * std::numbers::pi * hz * static_cast<double>(n) / 48000.0);
  }
  sink.write(samples);
  sink.commit();
  return path.string();
}

struct Outcome {
  ExitStatus status = ExitStatus::within_limits;
  std::string output;
};

Outcome calibrate(std::vector<std::string> words) {
  Outcome outcome;
  words.insert(words.begin(), "calibrate");
  std::ostringstream output, notes;
  auto* const out = std::cout.rdbuf(output.rdbuf());
  auto* const err = std::cerr.rdbuf(notes.rdbuf());
  const auto restore = [&] {
    std::cout.rdbuf(out);
    std::cerr.rdbuf(err);
  };
  try {
    outcome.status = command::run({"railtap", "", "", {command::calibrate_command()}}, words);
  } catch (...) {
    restore();
    throw;
  }
  restore();
  outcome.output = output.str();
  return outcome;
}

}  // namespace

TEST_CASE("calibrate: a file, a reading and a meter become a calibration file and its document") {
  const test::TemporaryFolder folder;
  const auto tone = tone_file(folder, 50.0, 0.25);
  const auto file = (folder.path() / "cal.toml").string();
  const auto outcome = calibrate({tone, "--reading", "3.52V", "--meter", "1.2%+5, average, 400Hz",
                                  "--nominal", "14V", "--output", file, "--json"});
  CHECK(outcome.status == ExitStatus::within_limits);
  // A peak of 0.25 reads 3.52 V RMS: full scale is four times 3.52·√2.
  const double expected = 4.0 * 3.52 * std::sqrt(2.0);
  const auto json = nlohmann::json::parse(outcome.output);
  CHECK(json["schema"] == "railtap.calibration/1");
  CHECK(test::within_rel(json["volts_per_full_scale"].get<double>(), expected, 2e-5));
  CHECK(test::within_abs(json["uncertainty_percent"].get<double>(), 1.2 + 5.0 / 3.52, 0.01));
  CHECK(
      test::within_abs(json["deviation_db"].get<double>(), 20.0 * std::log10(14.08 / 14.0), 0.001));
  const auto record = system::read_calibration(file);
  CHECK(test::within_rel(record.volts_per_full_scale.value(), expected, 2e-5));
  CHECK(*record.origin.recording == "tone.wav");
  CHECK(*record.origin.channel == 1);
  CHECK(*record.origin.reading == Volts(3.52));
}

TEST_CASE("calibrate: a result far from the divider's is outside limits") {
  const test::TemporaryFolder folder;
  const auto tone = tone_file(folder, 50.0, 0.25);
  CHECK(calibrate({tone, "--reading", "3.52V", "--nominal", "7V"}).status ==
        ExitStatus::outside_limits);
}

TEST_CASE("calibrate: a 1 kHz tone and a meter that ends at 400 Hz do not go together") {
  const test::TemporaryFolder folder;
  const auto tone = tone_file(folder, 1000.0, 0.25);
  CHECK_THROWS_AS(calibrate({tone, "--reading", "3.52V", "--meter", "1.2%+5, 400Hz"}), Error);
  CHECK_NOTHROW(calibrate({tone, "--reading", "3.52V", "--meter", "1.2%+5, 1kHz"}));
}

TEST_CASE("calibrate: an existing file is kept, and a missing channel is named") {
  const test::TemporaryFolder folder;
  const auto tone = tone_file(folder, 50.0, 0.25);
  const auto file = (folder.path() / "cal.toml").string();
  CHECK_NOTHROW(calibrate({tone, "--reading", "3.52V", "--output", file}));
  CHECK_THROWS_AS(calibrate({tone, "--reading", "4V", "--output", file}), Error);
  CHECK(*system::read_calibration(file).origin.reading == Volts(3.52));
  CHECK_NOTHROW(calibrate({tone, "--reading", "4V", "--output", file, "--force"}));
  CHECK(*system::read_calibration(file).origin.reading == Volts(4.0));
  CHECK_THROWS_AS(calibrate({tone, "--reading", "4V", "--channel", "2"}), Error);
  CHECK_THROWS_AS(calibrate({tone, "--reading", "0V"}), Error);
}
