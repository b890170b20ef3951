// SPDX-License-Identifier: MIT
// The demo's outcome in words and as a document.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <string>

#include "report/demo.hpp"
#include "report/verification.hpp"

using namespace railtap;

namespace {

report::DemoDocument example() {
  report::DemoDocument document;
  document.folder = "van";
  document.system = "camper van";
  document.supply = Volts(14.4);
  document.tolerance = Decibels(0.25);
  document.calibration.tone = Hertz(200.0);
  document.calibration.step = 32;
  document.calibration.reading = Volts(4.18);
  document.calibration.found.volts_per_full_scale = Volts(47.5);
  document.calibration.found.uncertainty = Percent(2.4);
  document.calibration.nominal = {Volts(47.0), Decibels(0.09), true};
  document.head_unit = {40, 36, Volts(8.34), Decibels(1.19), Volts(8.65)};
  report::DemoChannel channel;
  channel.control = "front";
  channel.input = "front left";
  channel.tone = Hertz(1000.0);
  channel.found.verdict = judge::Verdict::clipped;
  channel.found.flat_top.overdrive_positive = Decibels(8.8);
  channel.found.flat_top.overdrive_negative = Decibels(8.9);
  channel.target = Volts(14.83);
  channel.reached.verdict = judge::Verdict::clean;
  channel.reached.thdn = Percent(0.002);
  channel.reached_v = Volts(14.78);
  channel.change = Decibels(0.03);
  channel.travel = 0.145;
  document.channels = {channel};
  document.within_limits = true;
  return document;
}

}  // namespace

TEST_CASE("demo report: the document has a key for everything, and null for what is not known") {
  const auto json = nlohmann::json::parse(report::demo_json(example()).line());
  CHECK(json["schema"] == "railtap.demo/1");
  CHECK(json["head_unit"]["highest_clean_step"] == 36);
  CHECK(json["calibration"]["volts_per_full_scale"] == 47.5);
  const auto& channel = json["channels"][0];
  CHECK(channel["input"] == "front left");
  CHECK(channel["found_verdict"] == "clipped");
  CHECK(channel["reached_v"] == 14.78);
  CHECK(channel["direction"] == "hold");
  CHECK(channel["travel_percent"] == doctest::Approx(14.5));
  CHECK(channel["onset_v"].is_null());
  CHECK(channel["meter_v"].is_null());
  CHECK(json["within_limits"] == true);
}

TEST_CASE("demo report: a bass channel that carries both sides is said to be right") {
  report::DemoDocument document = example();
  document.verifications = {{"bass", {}, {}, {}, {"both"}},
                            {"rear", {}, {}, {}, {"left", "right"}}};
  const std::string text = report::demo_text(document, "railtap");
  CHECK(text.find("bass: both sides, summed to mono; no fault found") != std::string::npos);
  CHECK(text.find("rear: no fault found") != std::string::npos);
  const auto json = nlohmann::json::parse(report::demo_json(document).line());
  CHECK(json["verifications"][0]["carries"] == nlohmann::json::array({"both"}));
}

TEST_CASE("demo report: the table says what was found, reached and is still to go") {
  report::DemoDocument document = example();
  const std::string text = report::demo_text(document, "railtap");
  for (const char* part : {"volume 36 of 40", "clipped by 8.9 dB", "14.83 V", "14.78 V", "+0.03 dB",
                           "14.5 %", "0.002 %", "above", "All channels are clean"}) {
    CAPTURE(part);
    CHECK(text.find(part) != std::string::npos);
  }
  document.within_limits = false;
  document.channels[0].direction = electric::Direction::raise;
  CHECK(report::demo_text(document, "railtap").find("Not all channels") != std::string::npos);
}

TEST_CASE(
    "demo report: a channel that is set but inverted reads wiring, and the last line says so") {
  report::DemoDocument document = example();
  const std::string sentence =
      "front left is inverted: plus and minus are exchanged somewhere on the way.";
  document.verifications = {{"front", {sentence}, {}, {sentence}, {"left", "right"}}};
  document.channels[0].wiring = true;
  document.channels[0].faults = {sentence};
  document.within_limits = false;
  const std::string text = report::demo_text(document, "railtap");
  CHECK(text.find("All channels are clean and within 0.25 dB of their targets, but the job is not "
                  "done:\n  " +
                  sentence) != std::string::npos);
  CHECK(text.find("  wiring\n") != std::string::npos);
  CHECK(text.find("Not all") == std::string::npos);
  const auto channel = nlohmann::json::parse(report::demo_json(document).line())["channels"][0];
  CHECK(channel["verdict"] == "wiring");
  CHECK(channel["tone_verdict"] == "clean");
  CHECK(channel["faults"] == nlohmann::json::array({sentence}));
}

TEST_CASE("demo report: what else a verification found keeps a channel from reading clean") {
  report::DemoDocument document = example();
  document.channels[0].faults = {"hum at 50 Hz, 40 dB below a full-scale programme."};
  CHECK(report::verdict_of(document.channels[0]) == "look-again");
  document.channels[0].reached.verdict = judge::Verdict::clipped;
  CHECK(report::verdict_of(document.channels[0]) == "clipped");
}

TEST_CASE(
    "demo report: a calibration that does not fit the tap is said where the job is summed up") {
  report::DemoDocument document = example();
  document.calibration.nominal.plausible = false;
  document.within_limits = false;
  CHECK(
      report::demo_text(document, "railtap")
          .find("but the job is not done:\n  calibration: +0.09 dB against the resistors' marks") !=
      std::string::npos);
}

TEST_CASE("demo report: the command to try is typed as this one was") {
  report::DemoDocument document = example();
  document.folder = "my van";
  CHECK(report::demo_text(document, "build/railtap")
            .ends_with("try\n  build/railtap analyze 'my van/captures/front-set.wav' --calibration "
                       "'my van/calibration.toml' --names 'front left'\n"));
}

TEST_CASE("demo report: names command no terminal, whoever wrote the rig's description") {
  report::DemoDocument document = example();
  const std::string name = "front\x1b[31m left";
  document.system = document.channels[0].input = name;
  document.channels[0].direction = electric::Direction::raise;
  document.verifications = {{name, {"it is inverted."}, {}, {"it is inverted."}, {}}};
  CHECK(report::demo_text(document, "railtap").find('\x1b') == std::string::npos);
}

TEST_CASE("verification report: where the response is 3 dB down is told, or that it is nowhere") {
  report::VerificationDocument document;
  document.verification.channels.resize(1);
  auto& found = document.verification.channels[0].filters.emplace();
  const auto says = [&document](const char* words) {
    return report::verification_text(document).find(words) != std::string::npos;
  };
  CHECK(says("nowhere 3 dB down within the sweep"));
  found.high_3db = Hertz(15000.0);
  CHECK(says("3 dB down at 15 kHz\n"));
  found.low_3db = Hertz(80.0);
  CHECK(says("3 dB down at 80 Hz and 15 kHz\n"));
}
