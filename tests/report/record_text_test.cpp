// SPDX-License-Identifier: MIT
// What a record shows of each kind of entry.
#include "report/record_text.hpp"

#include <doctest/doctest.h>

#include <string>

#include "report/sheet/sheet.hpp"

using namespace railtap;

namespace {

std::string text_of(const char* result) {
  const std::string document = R"({"schema": "railtap.record/1", "name": "van", "entries": [)"
                               R"({"kind": "verification", "subject": "front left", "result": )" +
                               std::string(result) + "}]}";
  return report::record_text(system::parse_job_record(document, "van.json"));
}

bool ends_with(const std::string& text, const std::string& end) {
  return text.ends_with(end + "\n");
}

}  // namespace

TEST_CASE("record text: of a verification, what is found against a channel") {
  CHECK(ends_with(text_of(R"({"channels": [{"channel": 1, "findings": [
            {"severity": "fault", "text": "It is inverted."},
            {"severity": "note", "text": "The response is flat."}]}]})"),
                  "front left: channel 1: It is inverted."));
  CHECK(ends_with(text_of(R"({"channels": [{"channel": 2, "findings": [
            {"severity": "note", "text": "The polarity is right."}]}]})"),
                  "front left: channel 2: no fault found"));
  // Another's document, of other types: no findings are made up.
  CHECK(ends_with(text_of(R"({"channels": [{"channel": 1, "findings": 3}, 7]})"),
                  "front left: channel 1:"));
}

TEST_CASE("record text: of a channel that was analysed, its verdict and main numbers") {
  CHECK(ends_with(text_of(R"({"channels": [
            {"channel": 1, "verdict": "clean", "level_v": 14.78, "thdn_percent": 0.002}]})"),
                  "front left: channel 1: clean 14.78 V, THD+N 0.002000 %"));
}

TEST_CASE("record text: a named channel is called by its name") {
  CHECK(ends_with(text_of(R"({"channels": [{"channel": 2, "name": "front right",
            "verdict": "wiring", "findings": [
            {"severity": "fault", "text": "front right is inverted."}]}]})"),
                  "front left: front right: wiring front right is inverted."));
}

TEST_CASE("record text: whose the vehicle is stands there as it was given") {
  const std::string document = R"({"schema": "railtap.record/1", "name": "van", "entries": [)"
                               R"({"kind": "job", "result": {"owner": "A. Example",)"
                               R"( "vehicle": "camper\u001b van"}}]})";
  CHECK(ends_with(report::record_text(system::parse_job_record(document, "van.json")),
                  "job          vehicle camper\\x1b van, owner A. Example"));
}

TEST_CASE("record text: of what was added, only that is shown") {
  const auto record = system::parse_job_record(
      R"({"schema": "railtap.record/1", "name": "van", "entries": [)"
      R"({"kind": "note", "note": "first"}, {"kind": "note", "note": "second"}]})",
      "van.json");
  CHECK(report::record_text(record, 1).find("first") == std::string::npos);
  CHECK(ends_with(report::record_text(record, 1), "second"));
  CHECK(report::record_text(record).find("first") != std::string::npos);
}

TEST_CASE("sheet: channels of a gain control are called as their measurements call them") {
  // A walk names a control's channels within its measurements; with a described system the subjects
  // are the channels themselves.
  const auto document = [](const char* entries) {
    return system::job_record_document(
        system::parse_job_record(R"({"schema": "railtap.record/1", "name": "van", "entries": [)" +
                                     std::string(entries) + "]}",
                                 "van.json"));
  };
  const auto now = document(
      R"({"kind": "analysis", "subject": "front", "moment": "after", "result": {"channels": [)"
      R"({"channel": 1, "name": "front left", "verdict": "clean", "frequency_hz": 1000, "level_v": 14.8},)"
      R"({"channel": 2, "name": "front right", "verdict": "clean", "frequency_hz": 1000, "level_v": 14.9}]}})");
  const auto earlier = document(
      R"({"kind": "analysis", "subject": "front right", "moment": "after", "result": {"channels": [)"
      R"({"channel": 2, "verdict": "clean", "frequency_hz": 1000, "level_v": 13.5}]}})");
  const std::string html = report::sheet_html(now, earlier);
  CHECK(html.find("channel 2") == std::string::npos);
  CHECK(html.find("front right") != std::string::npos);
  CHECK(html.find("13.50 V") != std::string::npos);
  CHECK(html.find("is in the earlier record only") == std::string::npos);
}
