// SPDX-License-Identifier: MIT
// A recording's sidecar, read back by whoever measures the recording.
#include "system/capture_sidecar.hpp"

#include <doctest/doctest.h>

#include "files/atomic_file.hpp"
#include "report/capture.hpp"
#include "support/temporary_folder.hpp"
#include "units/error.hpp"

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
  CHECK(mention(warnings_of(document), "broken off"));

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
