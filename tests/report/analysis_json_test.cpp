// SPDX-License-Identifier: MIT
// The analysis document: the promised keys, and null for what is not known.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "report/analysis.hpp"

using namespace railtap;

namespace {

report::AnalysisDocument document_with(judge::Findings findings) {
  report::AnalysisDocument document;
  document.file_name = "camper \"van\"\n.wav";
  document.format = {Hertz(48000.0), 1, 96000, "WAV, 24-bit PCM", std::nullopt};
  document.frames = 96000;
  document.channels.push_back({1, std::move(findings), {}});
  return document;
}

nlohmann::json played_json(const std::optional<measure::PlayedMeasurement>& measured) {
  report::AnalysisDocument document = document_with({});
  document.channels[0].played = judge::judge_played(measured, {});
  return nlohmann::json::parse(report::analysis_json(document).line())["channels"][0]["played"];
}

}  // namespace

TEST_CASE("analysis document: every promised key is there, and null where nothing is known") {
  const auto json = nlohmann::json::parse(report::analysis_json(document_with({})).line());
  CHECK(json["schema"] == "railtap.analysis/1");
  for (const char* key :
       {"name", "sample_rate_hz", "channels", "frames", "duration_s", "encoding"}) {
    CHECK(json["file"].contains(key));
  }
  CHECK(json["volts_per_full_scale"].is_null());
  const auto& channel = json["channels"][0];
  for (const char* key : {"frequency_hz", "level_dbfs", "level_v", "peak_dbfs", "crest_factor_db",
                          "dc_percent_full_scale", "thdn_percent", "thdn_db", "thd_percent",
                          "sinad_db", "noise_dbfs", "noise_a_dbfs", "noise_a_v", "segments"}) {
    CAPTURE(key);
    REQUIRE(channel.contains(key));
    CHECK(channel[key].is_null());
  }
  for (const char* key :
       {"present", "overdrive_positive_db", "overdrive_negative_db", "plateau_positive_percent",
        "plateau_negative_percent", "model_residual_db"}) {
    CHECK(channel["flat_top"].contains(key));
  }
  for (const char* key : {"present", "samples_at_full_scale", "longest_run"}) {
    CHECK(channel["input_overload"].contains(key));
  }
  CHECK(channel["verdict"] == "unusable");
}

TEST_CASE("analysis document: an infinite level becomes null and names are escaped") {
  judge::Findings findings;
  findings.level = Dbfs(-std::numeric_limits<double>::infinity());
  findings.verdict = judge::Verdict::clean;
  const auto text = report::analysis_json(document_with(findings)).line();
  const auto json = nlohmann::json::parse(text);
  CHECK(json["channels"][0]["level_dbfs"].is_null());
  CHECK(json["file"]["name"] == "camper \"van\"\n.wav");
  CHECK(text.find('\n') == std::string::npos);
}

TEST_CASE("analysis: a channel goes by its name where the system has one, else by its number") {
  report::AnalysisDocument document = document_with({});
  document.channels.push_back({2, {}, {}});
  document.names = {"front left"};
  const auto json = nlohmann::json::parse(report::analysis_json(document).line());
  CHECK(json["channels"][0]["name"] == "front left");
  CHECK(json["channels"][1]["name"].is_null());
  const std::string text = report::analysis_text(document);
  CHECK(text.find("\n  front left: ") != std::string::npos);
  CHECK(text.find("\n  Channel 2: ") != std::string::npos);
  CHECK(text.find("Channel 1") == std::string::npos);
}

TEST_CASE(
    "analysis document: what the chain added to a track, and by how much clipping would not show") {
  measure::PlayedMeasurement measured;
  measured.gain = 0.5;
  measured.clipping.residual = 0.001;
  measured.clipping.positive = {true, 0.25, 1.2589254, 7, 90, 0.3147, 0.02, 0.0};
  const auto json = played_json(measured);
  CHECK(json["found"] == true);
  CHECK(json["clipped"] == true);
  CHECK(json["gain_db"] == doctest::Approx(-6.0206).epsilon(1e-5));
  CHECK(json["residual_db"] == doctest::Approx(-60.0));
  REQUIRE(json["rails"].size() == 2);
  const auto& rail = json["rails"][0];
  CHECK(rail["rail"] == "positive");
  // A sine whose peak is 0.25 of full scale: 20·log10(0.25) [AES17-2015, 3.12: a full-scale sine is
  // 0 dBFS].
  CHECK(rail["onset_dbfs"] == doctest::Approx(-12.0412).epsilon(1e-5));
  CHECK(rail["overdrive_db"] == doctest::Approx(2.0).epsilon(1e-5));
  CHECK(rail["clipped_peaks"] == 7);
  REQUIRE(rail["uncertainty_db"].is_number());
  CHECK(rail["uncertainty_db"] > 0.0);
  CHECK(rail["uncertainty_db"] < 0.3);
  CHECK(json["rails"][1]["onset_dbfs"].is_null());
  CHECK(json["rails"][1]["uncertainty_db"].is_null());
  REQUIRE(json["unseen_db"].is_number());
  CHECK(json["unseen_db"] >= 0.1);
  CHECK(json["unseen_single_samples_db"] >= json["unseen_db"]);
}

TEST_CASE(
    "analysis document: the worse a chain is known, the more clipping may hide; no track, no "
    "bound") {
  measure::PlayedMeasurement well, badly;
  well.gain = badly.gain = 1.0;
  well.clipping.residual = 0.001;
  badly.clipping.residual = 0.02;
  CHECK(played_json(well)["clipped"] == false);
  CHECK(played_json(badly)["unseen_db"] > played_json(well)["unseen_db"]);
  CHECK(played_json(badly)["unseen_single_samples_db"] >
        played_json(well)["unseen_single_samples_db"]);
  const auto none = played_json(std::nullopt);
  CHECK(none["found"] == false);
  for (const char* key : {"clipped", "gain_db", "unseen_db", "unseen_single_samples_db"}) {
    CAPTURE(key);
    REQUIRE(none.contains(key));
    CHECK(none[key].is_null());
  }
}
