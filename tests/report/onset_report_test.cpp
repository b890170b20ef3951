// SPDX-License-Identifier: MIT
// The onset document: the promised keys, null for what is not known, and what a person reads.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <set>
#include <string>

#include "report/onset.hpp"

using namespace railtap;

namespace {

report::OnsetDocument document_of(judge::ChannelOnset channel) {
  report::OnsetDocument document;
  document.file_name = "ladder.wav";
  document.format = {Hertz(48000.0), 1, 480000, "WAV, 24-bit PCM", std::nullopt};
  document.found.push_back({});
  document.channels.push_back(std::move(channel));
  return document;
}

judge::OnsetStep step_at(int index, double input_dbfs, judge::Verdict verdict) {
  judge::OnsetStep step;
  step.index = index;
  step.start = Seconds(0.5 * index);
  step.end = Seconds(0.5 * index + 0.5);
  step.input = Dbfs(input_dbfs);
  step.level = Dbfs(input_dbfs - 1.0);
  step.level_v = Volts(2.0 * index);
  step.gain = Decibels(-1.0);
  step.thdn = Percent(verdict == judge::Verdict::clean ? 0.01 : 4.0);
  if (verdict == judge::Verdict::clipped) step.overdrive_positive = Decibels(0.75);
  step.verdict = verdict;
  return step;
}

judge::ChannelOnset clipping() {
  judge::ChannelOnset channel;
  channel.channel = 1;
  channel.steps = {step_at(1, -12.0, judge::Verdict::clean),
                   step_at(2, -11.0, judge::Verdict::clean),
                   step_at(3, -10.0, judge::Verdict::clipped)};
  channel.flat_top = judge::OnsetPoint{Dbfs(-10.75), Dbfs(-11.75), Volts(5.5), Decibels(0.004)};
  channel.thdn = judge::OnsetPoint{Dbfs(-10.5), Dbfs(-11.5), Volts(5.66), Decibels(0.02)};
  channel.highest_clean_step = 2;
  channel.small_signal_gain = Decibels(-1.0);
  channel.verdict = judge::OnsetVerdict::clips;
  return channel;
}

std::set<std::string> keys_of(const nlohmann::json& json) {
  std::set<std::string> keys;
  for (const auto& item : json.items()) keys.insert(item.key());
  return keys;
}

nlohmann::json parsed(const report::OnsetDocument& document) {
  const std::string text = report::onset_json(document).line();
  CHECK(text.find('\n') == std::string::npos);
  return nlohmann::json::parse(text);
}

}  // namespace

TEST_CASE("onset document: keys and numbers are those that the contract promises") {
  const auto json = parsed(document_of(clipping()));
  CHECK(json["schema"] == "railtap.onset/1");
  const auto& channel = json["channels"][0];
  CHECK(channel["channel"] == 1);
  CHECK(channel["verdict"] == "clips");
  CHECK(channel["highest_clean_step"] == 2);
  REQUIRE(channel["steps"].size() == 3);
  const std::set<std::string> of_step{"index",
                                      "start_s",
                                      "end_s",
                                      "input_dbfs",
                                      "level_dbfs",
                                      "level_v",
                                      "gain_db",
                                      "thdn_percent",
                                      "moving",
                                      "verdict",
                                      "overdrive_positive_db",
                                      "overdrive_negative_db"};
  CHECK(keys_of(channel["steps"][2]) == of_step);
  CHECK(channel["steps"][2]["overdrive_positive_db"] == 0.75);
  CHECK(channel["steps"][2]["overdrive_negative_db"].is_null());
  CHECK(channel["steps"][1]["index"] == 2);
  const std::set<std::string> of_point{"input_dbfs", "level_dbfs", "level_v", "uncertainty_db"};
  auto of_thdn = of_point;
  of_thdn.insert("limit_percent");
  CHECK(keys_of(channel["onset"]) == std::set<std::string>{"thdn", "flat_top", "compression"});
  CHECK(keys_of(channel["onset"]["flat_top"]) == of_point);
  CHECK(keys_of(channel["onset"]["thdn"]) == of_thdn);
  CHECK(channel["onset"]["thdn"]["limit_percent"] == 1.0);
  CHECK(channel["onset"]["flat_top"]["input_dbfs"] == -10.75);
  CHECK(channel["onset"]["flat_top"]["level_dbfs"] == -11.75);
  CHECK(channel["onset"]["flat_top"]["level_v"] == 5.5);
  CHECK(channel["onset"]["flat_top"]["uncertainty_db"] == 0.004);
  CHECK(channel["onset"]["compression"].is_null());
  CHECK(channel["onset_down"].is_null());
  CHECK(json["stage"].is_null());
}

TEST_CASE("onset document: what was turned down again has that way beside the other") {
  auto channel = clipping();
  channel.steps[1].moving = true;
  channel.down = judge::OnsetWay{
      std::nullopt, judge::OnsetPoint{std::nullopt, Dbfs(-12.0), Volts(5.25), Decibels(0.01)}, {}};
  const auto json = parsed(document_of(channel))["channels"][0];
  CHECK(json["steps"][1]["moving"] == true);
  CHECK(json["steps"][2]["moving"] == false);
  CHECK(json["onset_down"]["thdn"].is_null());
  CHECK(json["onset_down"]["flat_top"]["level_v"] == 5.25);
  CHECK(json["onset"]["flat_top"]["level_v"] == 5.5);
  const std::string text = report::onset_text(document_of(channel));
  CHECK(text.find("  on the way up       5.500 V") != std::string::npos);
  CHECK(text.find("  on the way down     5.250 V") != std::string::npos);
  CHECK(json["only_down"] == false);
}

TEST_CASE("onset document: what was only turned down is told of that way, and not of one upwards") {
  auto channel = clipping();
  channel.thdn.reset();
  channel.down = judge::OnsetWay{channel.thdn, channel.flat_top, channel.compression};
  channel.only_down = true;
  CHECK(parsed(document_of(channel))["channels"][0]["only_down"] == true);
  std::string text = report::onset_text(document_of(channel));
  CHECK(text.find("on the way up") == std::string::npos);
  CHECK(text.find("  on the way down     5.500 V") != std::string::npos);
  CHECK(text.find("  on the way down     not reached") != std::string::npos);
  channel.highest_clean_step.reset();
  text = report::onset_text(document_of(channel));
  CHECK(text.find("  on the way down     not known: no step is within it") != std::string::npos);
}

TEST_CASE("onset document: a step of less than a tenth of a second has one time") {
  auto channel = clipping();
  REQUIRE(channel.highest_clean_step);
  for (auto& step : channel.steps) {
    if (step.index != *channel.highest_clean_step) continue;
    step.start = Seconds(11.08);
    step.end = Seconds(11.14);
  }
  CHECK(report::onset_text(document_of(channel)).find(", at 11.1 s: ") != std::string::npos);
}

TEST_CASE("onset document: compression carries its limit of 0.3 dB") {
  auto channel = clipping();
  channel.compression = judge::OnsetPoint{std::nullopt, Dbfs(-11.0), std::nullopt, Decibels(0.01)};
  const auto json = parsed(document_of(channel));
  const auto& compression = json["channels"][0]["onset"]["compression"];
  CHECK(compression["limit_db"] == 0.3);
  CHECK(compression["input_dbfs"].is_null());
  CHECK(compression["level_v"].is_null());
}

TEST_CASE("onset document: what is not known is null, the clean step too") {
  judge::ChannelOnset channel;
  channel.channel = 1;
  channel.steps.emplace_back();
  const auto json = parsed(document_of(channel));
  const auto& entry = json["channels"][0];
  CHECK(entry["verdict"] == "no-ladder");
  for (const char* key : {"highest_clean_step", "small_signal_gain_db"}) {
    CAPTURE(key);
    REQUIRE(entry.contains(key));
    CHECK(entry[key].is_null());
  }
  for (const char* key : {"thdn", "flat_top", "compression"}) CHECK(entry["onset"][key].is_null());
  for (const char* key : {"input_dbfs", "level_dbfs", "level_v", "gain_db", "thdn_percent",
                          "overdrive_positive_db", "overdrive_negative_db"}) {
    CAPTURE(key);
    CHECK(entry["steps"][0][key].is_null());
  }
  CHECK(json["volts_per_full_scale"].is_null());
}

TEST_CASE("onset document: every verdict has its word") {
  using judge::OnsetVerdict;
  CHECK(std::string(name(OnsetVerdict::clips)) == "clips");
  CHECK(std::string(name(OnsetVerdict::compresses)) == "compresses");
  CHECK(std::string(name(OnsetVerdict::clean_throughout)) == "clean-throughout");
  CHECK(std::string(name(OnsetVerdict::input_overload)) == "input-overload");
  CHECK(std::string(name(OnsetVerdict::no_ladder)) == "no-ladder");
}

TEST_CASE("onset document: the stages are compared channel by channel") {
  auto document = document_of(clipping());
  document.before_name = "headunit.wav";
  judge::StageComparison stage;
  stage.first = judge::FirstStage::amplifier;
  stage.sentence = "The amplifier clips first.";
  stage.steps.push_back(
      {3, Decibels(0.0), Decibels(0.75), Decibels(0.75), Percent(0.01), Percent(4.0)});
  stage.first_step_added = 3;
  document.stages.push_back(stage);
  const auto json = parsed(document);
  CHECK(json["stage"]["before"] == "headunit.wav");
  const auto& entry = json["stage"]["channels"][0];
  CHECK(entry["first"] == "amplifier");
  CHECK(entry["first_step_before"].is_null());
  CHECK(entry["first_step_added"] == 3);
  CHECK(entry["steps"][0]["added_db"] == 0.75);
}

TEST_CASE(
    "onset text: verdict, the highest clean step, each onset with its uncertainty, the steps") {
  const std::string text = report::onset_text(document_of(clipping()));
  const auto has = [&](const std::string& part) {
    CAPTURE(part);
    CAPTURE(text);
    CHECK(text.find(part) != std::string::npos);
  };
  has("Channel 1: CLIPS");
  has("highest clean step    2, 1.0 s to 1.5 s: 4.000 V");
  has("clips at              5.500 V, -11.75 dBFS, -10.75 dBFS in  (±0.008 dB)");
  has("(±0.04 dB)");
  has("not reached");
  has("<- highest clean");
  has("THD+N over the steps");
  // The plot marks the clean step, and only that.
  std::size_t marks = 0;
  for (std::size_t at = text.find("▲"); at != std::string::npos; at = text.find("▲", at + 1))
    ++marks;
  CHECK(marks == 2);  // two columns wide
}

TEST_CASE("onset text: without a clean step or a ladder it says so") {
  auto channel = clipping();
  channel.highest_clean_step.reset();
  CHECK(report::onset_text(document_of(channel)).find("highest clean step    none") !=
        std::string::npos);
  CHECK(report::onset_text(document_of({})).find("NO LADDER") != std::string::npos);
}
