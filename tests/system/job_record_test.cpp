// SPDX-License-Identifier: MIT
// Job records: what was appended is read back, and doubt is refused with its place.
#include "system/job_record.hpp"

#include <doctest/doctest.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <string>

#include "files/atomic_file.hpp"
#include "report/record_text.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;
using system::append_to_job_record;
using system::Json;
using system::parse_job_record;
using system::read_job_record;
using Value = nlohmann::ordered_json;

namespace {

system::RecordEntry entry_called(const std::string& subject) {
  system::RecordEntry entry;
  entry.kind = "analysis";
  entry.subject = subject;
  entry.stage = "amplifier";
  entry.moment = "after";
  entry.note = "gain at a quarter\n\"half past nine\"";
  entry.result =
      Json(Value::parse(R"({"schema":"railtap.analysis/1","z":1,"a":0.1,"level_v":14.832396})"));
  entry.calibration = {{"volts_per_full_scale", 40.0}};
  return entry;
}

std::string refusal(const std::string& text) {
  try {
    (void)parse_job_record(text, "job.json");
  } catch (const Error& error) {
    return error.place() + ": " + error.problem();
  }
  return "accepted";
}

bool has(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

const std::string whole = R"({"schema":"railtap.record/1","entries":[{"kind":"note"}]})";

}  // namespace

TEST_CASE("job record: everything appended is read back") {
  const test::TemporaryFolder folder;
  const auto path = folder.path() / "van.json";
  append_to_job_record(path, entry_called("front left"));
  append_to_job_record(path, entry_called("front right"));
  const auto record = read_job_record(path);
  CHECK(record.name == "van");
  CHECK(record.system.is_null());
  REQUIRE(record.entries.size() == 2);
  const auto expected = entry_called("front left");
  const auto& found = record.entries[0];
  CHECK(found.kind == expected.kind);
  CHECK(found.subject == expected.subject);
  CHECK(found.stage == expected.stage);
  CHECK(found.moment == expected.moment);
  CHECK(found.note == expected.note);
  CHECK(found.result.value() == expected.result.value());
  CHECK(found.result.line() == expected.result.line());  // the order of keys, and every digit
  CHECK(found.calibration.value() == expected.calibration.value());
  CHECK(found.time.size() == std::string("2026-11-25T16:10:00Z").size());
  CHECK(record.entries[1].subject == "front right");
}

TEST_CASE("job record: a described system gives it its name and is carried") {
  const test::TemporaryFolder folder;
  const auto path = folder.path() / "job.json";
  append_to_job_record(path, entry_called("front left"));
  append_to_job_record(path, entry_called("front left"), Json{{"name", "Camper van"}, {"x", 1}});
  append_to_job_record(path, entry_called("front left"));
  const auto record = read_job_record(path);
  CHECK(record.name == "Camper van");
  CHECK(record.system.value().at("x") == 1);
  CHECK(record.entries.size() == 3);
}

TEST_CASE("job record: what a file says beyond the known keys stays in it") {
  const test::TemporaryFolder folder;
  const auto path = folder.path() / "job.json";
  files::write_file(
      path, R"({"schema":"railtap.record/1","owner":"me","entries":[{"kind":"note","by":"me"}]})",
      files::Overwrite::refuse);
  append_to_job_record(path, entry_called("front left"));
  const Value document = Value::parse(files::read_file(path, 100'000));
  CHECK(document.at("owner") == "me");
  CHECK(document.at("entries").at(0).at("by") == "me");
  CHECK(document.at("entries").size() == 2);
}

TEST_CASE("job record: a record without what may be missing is read") {
  const auto record = parse_job_record(whole, "job.json");
  CHECK(record.name.empty());
  REQUIRE(record.entries.size() == 1);
  CHECK(record.entries[0].result.is_null());
}

TEST_CASE("job record: what is printed is a record again") {
  const auto record = parse_job_record(whole, "job.json");
  const auto again = parse_job_record(system::job_record_text(record), "again");
  CHECK(again.entries.size() == 1);
}

TEST_CASE("job record: refusals name the place") {
  CHECK(has(refusal(whole.substr(0, whole.size() - 3)),
            "job.json, line 1: the file is not complete JSON"));
  CHECK(has(refusal("schema = \"railtap.system/1\"\n"), "is a system file, not a record"));
  CHECK(has(refusal("{\n\"schema\": oops}"), "job.json, line 2: the file is not complete JSON"));
  CHECK(has(refusal(""), "the file is not complete JSON"));
  CHECK(has(refusal("[]"), "the file is not a record"));
  CHECK(has(refusal("{}"), "does not say what it is"));
  CHECK(
      has(refusal(R"({"schema":"railtap.record/2","entries":[]})"), "written by a newer railtap"));
  CHECK(has(refusal(R"({"schema":"railtap.analysis/1","entries":[]})"),
            "not a \"railtap.record/1\""));
  CHECK(has(refusal(R"({"schema":"railtap.record/1"})"), "\"entries\" is not a list"));
  CHECK(has(refusal(R"({"schema":"railtap.record/1","entries":[{"kind":"note"},{}]})"),
            "job.json, entry 2: \"kind\" is missing"));
  CHECK(has(refusal(R"({"schema":"railtap.record/1","entries":[{"kind":"x","result":3}]})"),
            "job.json, entry 1: \"result\" is not an object"));
  CHECK(has(refusal(R"({"schema":"railtap.record/1","name":3,"entries":[]})"),
            "\"name\" is not text"));
  CHECK(
      has(refusal(R"({"schema":"railtap.record/1","entries":[{"kind":"x","result":{"a":1e999}}]})"),
          "a value that cannot be read"));
  const std::string nested = std::string(100'000, '[') + std::string(100'000, ']');
  CHECK(has(refusal(R"({"schema":"railtap.record/1","entries":)" + nested + "}"),
            "nested too deeply"));
}

TEST_CASE("job record: appending to what is no record leaves it alone") {
  const test::TemporaryFolder folder;
  const auto path = folder.path() / "shopping.json";
  files::write_file(path, "{\"milk\": 2}", files::Overwrite::refuse);
  CHECK_THROWS_AS(append_to_job_record(path, entry_called("front left")), Error);
  CHECK(files::read_file(path, 1000) == "{\"milk\": 2}");
}

TEST_CASE("job record: the file behind a link is written, and the link stays") {
  const test::TemporaryFolder folder;
  std::filesystem::create_directory(folder.path() / "jobs");
  const auto link = folder.path() / "job.json";
  std::filesystem::create_symlink(folder.path() / "jobs" / "van.json", link);
  append_to_job_record(link, entry_called("front left"));
  CHECK(std::filesystem::is_symlink(link));
  CHECK(read_job_record(folder.path() / "jobs" / "van.json").entries.size() == 1);
}

TEST_CASE("job record: bytes that are no UTF-8 do not stop a note") {
  const test::TemporaryFolder folder;
  auto entry = entry_called("front\xff");
  append_to_job_record(folder.path() / "job.json", entry);
  CHECK(has(read_job_record(folder.path() / "job.json").entries[0].subject, "front"));
}

TEST_CASE("job record: as text, nothing in it commands the terminal") {
  system::JobRecord record;
  record.name = "van\x1b[2J";
  record.entries.push_back(entry_called("front"));
  record.entries[0].note = "\x1b]0;title\x07";
  const std::string text = report::record_text(record);
  CHECK(!has(text, "\x1b"));
  CHECK(!has(text, "\x07"));
  CHECK(has(text, "14.83 V"));
}
