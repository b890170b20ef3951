// SPDX-License-Identifier: MIT
// Calibration files: written to be read by people and back by the program; doubt is refused.
#include "system/calibration_file.hpp"

#include <doctest/doctest.h>

#include <string>

#include "units/error.hpp"

using namespace railtap;
using system::parse_calibration;

namespace {

system::CalibrationRecord full_record() {
  system::CalibrationRecord record;
  record.volts_per_full_scale = Volts(29.697484808);
  record.uncertainty = Percent(2.62);
  record.origin.date = "2024-05-04T10:00:00Z";
  record.origin.recording = "cal \"low\" \\ tone.wav";
  record.origin.device = "line input\nof the old laptop";
  record.origin.channel = 2;
  record.origin.sample_rate = Hertz(48000.0);
  record.origin.tone = Hertz(50.0);
  record.origin.level = Dbfs(-12.5);
  record.origin.reading = Volts(3.52);
  record.origin.meter = "±(1.2 % + 5), average-responding, to 400 Hz";
  record.origin.divider = "2 x 9.1 kohm, 1 kohm";
  record.origin.nominal = Volts(29.7);
  return record;
}

std::string refusal(const std::string& text) {
  try {
    (void)parse_calibration(text, "cal.toml");
  } catch (const Error& error) {
    CHECK(error.place().starts_with("cal.toml"));
    return error.problem();
  }
  return "accepted";
}

const std::string head = "schema = \"railtap.calibration/1\"\n";

}  // namespace

TEST_CASE("calibration file: everything written is read back") {
  const auto record = full_record();
  const auto back = parse_calibration(system::calibration_text(record), "cal.toml");
  CHECK(back.volts_per_full_scale == record.volts_per_full_scale);
  CHECK(back.uncertainty == record.uncertainty);
  CHECK(back.origin.date == record.origin.date);
  CHECK(back.origin.recording == record.origin.recording);
  CHECK(back.origin.device == record.origin.device);
  CHECK(back.origin.channel == record.origin.channel);
  CHECK(back.origin.sample_rate == record.origin.sample_rate);
  CHECK(back.origin.tone == record.origin.tone);
  CHECK(back.origin.level == record.origin.level);
  CHECK(back.origin.reading == record.origin.reading);
  CHECK(back.origin.meter == record.origin.meter);
  CHECK(back.origin.divider == record.origin.divider);
  CHECK(back.origin.nominal == record.origin.nominal);
}

TEST_CASE("calibration file: what is not known is left out, not written as zero") {
  system::CalibrationRecord record;
  record.volts_per_full_scale = Volts(30.0);
  const auto text = system::calibration_text(record);
  CHECK(text.find("uncertainty_percent") == std::string::npos);
  CHECK(text.find("reading_v") == std::string::npos);
  const auto back = parse_calibration(text, "cal.toml");
  CHECK_FALSE(back.uncertainty.has_value());
  CHECK_FALSE(back.origin.channel.has_value());
}

TEST_CASE("calibration file: a person's two lines are enough, with whole numbers too") {
  CHECK(parse_calibration(head + "volts_per_full_scale = 30\n", "cal.toml").volts_per_full_scale ==
        Volts(30.0));
}

TEST_CASE("calibration file: a newer schema is refused, not guessed at") {
  const auto problem = refusal("schema = \"railtap.calibration/2\"\nvolts_per_full_scale = 30.0\n");
  CHECK(problem.find("newer railtap") != std::string::npos);
}

TEST_CASE("calibration file: another kind, a missing schema and no TOML are refused") {
  CHECK(refusal("volts_per_full_scale = 30.0\n") == "the file does not say what it is");
  CHECK(refusal("schema = \"railtap.system/1\"\n").find("not a \"railtap.calibration/1\"") !=
        std::string::npos);
  for (const auto* text :
       {"schema = \"railtap.calibration/x\"\n", "schema = \"railtap.calibration\"\n",
        "schema = \"railtap.calibration/0\"\n", "schema = 1\n", "schema = \n", "\x7f\x45LF",
        "schema"}) {
    CAPTURE(text);
    CHECK(refusal(text) != "accepted");
  }
}

TEST_CASE("calibration file: a syntax error names its line") {
  try {
    (void)parse_calibration(head + "volts_per_full_scale = 30 V\n", "cal.toml");
    FAIL("accepted");
  } catch (const Error& error) {
    CHECK(error.place() == "cal.toml, line 2");
  }
}

TEST_CASE("calibration file: values of the wrong kind or out of range are refused by name") {
  const std::string volts = head + "volts_per_full_scale = 30.0\n";
  CHECK(refusal(head) == "\"volts_per_full_scale\" is missing");
  CHECK(refusal(head + "volts_per_full_scale = \"30 V\"\n") ==
        "\"volts_per_full_scale\" is not a number");
  for (const std::string& text :
       {head + "volts_per_full_scale = 0.0\n", head + "volts_per_full_scale = -30.0\n",
        head + "volts_per_full_scale = nan\n", head + "volts_per_full_scale = inf\n",
        head + "volts_per_full_scale = true\n", volts + "uncertainty_percent = -1.0\n",
        volts + "channel = 0\n", volts + "channel = 1.5\n", volts + "date = 3\n",
        volts + "sample_rate_hz = 0\n"}) {
    CAPTURE(text);
    CHECK(refusal(text) != "accepted");
  }
}
