// SPDX-License-Identifier: MIT
// Calibration files: written to be read by people and back by the program; doubt is refused.

#include <limits>
#include <string>

#include <doctest/doctest.h>

#include "files/atomic_file.hpp"
#include "report/capture.hpp"
#include "support/basics.hpp"
#include "system/json.hpp"
#include "system/kept_files.hpp"
#include "units/error.hpp"
#include "units/quantity.hpp"

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

// A recording's sidecar, read back by whoever measures the recording.

namespace railtap::system {
namespace {

report::CaptureDocument whole() {
  report::CaptureDocument document;
  document.file = "front.wav";
  document.end = report::CaptureEnd::duration;
  document.device = "door input";
  document.rate = Hertz(48000.0);
  document.frames = 96000;
  document.channels.resize(2);
  return document;
}

CaptureRecord read_back(const report::CaptureDocument& document) {
  return parse_capture_sidecar(report::capture_json(document).page(), "front.wav.json");
}

bool mention(const std::vector<std::string>& warnings, const char* words) {
  for (const auto& warning : warnings) {
    if (warning.find(words) != std::string::npos) return true;
  }
  return false;
}

std::vector<std::string> warnings_of(const report::CaptureDocument& document) {
  return capture_warnings(read_back(document), document.rate, document.frames);
}

void put(const std::filesystem::path& recording, const std::string& text) {
  files::write_file(recording.string() + ".json", text, files::Overwrite::allow);
}

TEST_CASE("sidecar: what was written is read back, and a whole recording needs no warning") {
  const CaptureRecord record = read_back(whole());
  CHECK(record.complete);
  CHECK(record.ended_by == "duration");
  CHECK(record.device == "door input");
  CHECK(record.rate == Hertz(48000.0));
  CHECK(record.frames == 96000);
  CHECK(warnings_of(whole()).empty());
}

TEST_CASE("sidecar: lost samples, a vanished input and a broken-off recording are told") {
  report::CaptureDocument document = whole();
  document.gaps = {{24000, 480, audio::LossCause::buffer},
                   {60000, std::nullopt, audio::LossCause::driver}};
  document.lost_frames = 480;
  document.end = report::CaptureEnd::device_vanished;
  auto warnings = warnings_of(document);
  CHECK(warnings.size() == 2);
  CHECK(mention(warnings, "lost in 2 places (at 0.50 s, 1.25 s), 10 ms in all"));
  CHECK(mention(warnings, "'door input' vanished"));

  document = whole();
  document.end = report::CaptureEnd::running;
  CHECK(mention(warnings_of(document), "interrupted"));

  document = whole();
  document.driver_overflows = 1;
  CHECK(mention(warnings_of(document), "driver reported lost samples"));
}

TEST_CASE("sidecar: a day to come is told, unless a time zone explains it") {
  using namespace std::chrono;
  report::CaptureDocument document = whole();
  document.started = "2026-11-25T23:50:00+1400";
  const CaptureRecord record = read_back(document);
  REQUIRE(record.day == sys_days(2026y / November / 25));
  CHECK(future_warning(record, 2026y / November / 25).empty());
  CHECK(future_warning(record, 2026y / November / 24).empty());
  CHECK(future_warning(record, 2026y / November / 23).find("2026-11-25") != std::string::npos);
  document.started = "some day";
  CHECK_FALSE(read_back(document).day);
}

TEST_CASE("sidecar: one that tells of another length or rate is not this recording's") {
  CHECK(mention(capture_warnings(read_back(whole()), Hertz(48000.0), 95000), "another length"));
  CHECK(mention(capture_warnings(read_back(whole()), Hertz(44100.0), 96000), "another length"));
  // A recording that was killed has more samples than its sidecar knew of.
  report::CaptureDocument killed = whole();
  killed.end = report::CaptureEnd::running;
  CHECK_FALSE(mention(capture_warnings(read_back(killed), killed.rate, 97000), "another length"));
}

TEST_CASE("sidecar: a newer schema is refused, a damaged one told, other JSON passed over") {
  const test::TemporaryFolder folder;
  const auto recording = folder.path() / "front.wav";
  CHECK_FALSE(read_capture_sidecar(recording).record);

  put(recording, report::capture_json(whole()).page());
  CHECK(read_capture_sidecar(recording).record);

  put(recording, R"({"schema": "railtap.capture/2"})");
  CHECK_THROWS_WITH_AS((void)read_capture_sidecar(recording), doctest::Contains("newer railtap"),
                       Error);

  for (const char* text : {"{\"schema\": \"railtap.capture/1\", \"frames\":", "", "no JSON",
                           R"({"schema": "railtap.capture/1", "complete": true})"}) {
    CAPTURE(text);
    put(recording, text);
    const Sidecar sidecar = read_capture_sidecar(recording);
    CHECK_FALSE(sidecar.record);
    CHECK(mention(sidecar.damage, "damaged"));
  }

  put(recording, R"({"schema": "railtap.analysis/1"})");
  CHECK_FALSE(read_capture_sidecar(recording).record);
  CHECK(read_capture_sidecar(recording).damage.empty());
}

}  // namespace
}  // namespace railtap::system

// JSON documents as values: what is built is what is written, and looking into one never fails.

using namespace railtap;
using system::Json;
using system::json_number;
using system::JsonView;

namespace {

const Json sample = {{"text", "a\"b"},
                     {"none", nullptr},
                     {"flag", true},
                     {"count", 3},
                     {"level_db", -1.5},
                     {"words", std::vector<std::string>{"x", "y"}},
                     {"inner", {{"list", Json::array({0.5, 1.0})}}}};

}  // namespace

TEST_CASE("json: keys stay in order, and every kind of value is written as such") {
  CHECK(sample.line() ==
        R"({"text":"a\"b","none":null,"flag":true,"count":3,"level_db":-1.5,"words":["x","y"],)"
        R"("inner":{"list":[0.5,1.0]}})");
}

TEST_CASE("json: what is not finite or not known is null [RFC 8259, section 6]") {
  constexpr double nan = std::numeric_limits<double>::quiet_NaN();
  constexpr double infinity = std::numeric_limits<double>::infinity();
  const Json json = {{"a", nan},
                     {"b", infinity},
                     {"c", json_number(std::optional<Volts>())},
                     {"d", json_number(std::optional(Volts(2.5)))}};
  CHECK(json.line() == R"({"a":null,"b":null,"c":null,"d":2.5})");
  CHECK(Json::array({1.0, nan}).line() == "[1.0,null]");
}

TEST_CASE("json: a copy is its own, and a member that is set again keeps its place") {
  Json copy = sample;
  copy.set("none", 1);
  copy.erase("words");
  copy.update({{"flag", false}, {"more", "z"}});
  CHECK(copy.line() == R"({"text":"a\"b","none":1,"flag":false,"count":3,"level_db":-1.5,)"
                       R"("inner":{"list":[0.5,1.0]},"more":"z"})");
  CHECK(JsonView(sample)["flag"].flag() == true);
}

TEST_CASE("json: bytes that are no UTF-8 become U+FFFD [Unicode 15, section 3.9]") {
  CHECK(Json("a\xFF"
             "b")
            .line() == "\"a\uFFFDb\"");
}

TEST_CASE("json view: what is missing or of another kind is absent") {
  const JsonView view(sample);
  CHECK(view["count"].number() == 3.0);
  CHECK(view["count"].integer() == 3);
  CHECK_FALSE(view["level_db"].integer());
  CHECK_FALSE(view["text"].number());
  CHECK_FALSE(view["none"].known());
  CHECK_FALSE(view["missing"]["deeper"][3].known());
  CHECK(view["words"].size() == 2);
  CHECK(view["inner"]["list"].numbers() == std::vector<double>{0.5, 1.0});
  CHECK(view["inner"]["list"][1].pointer() == "/inner/list/1");
  CHECK(view["a/b~"].pointer().empty());
  CHECK_FALSE(JsonView().known());
}
