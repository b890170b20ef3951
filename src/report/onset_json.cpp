// SPDX-License-Identifier: MIT
// The onset document in JSON.
#include "report/json_values.hpp"
#include "report/onset.hpp"
#include "system/json_text.hpp"

namespace railtap::report {
namespace {

Json step_json(const judge::OnsetStep& step) {
  return {{"index", step.index},
          {"start_s", json_number(step.start.value())},
          {"end_s", json_number(step.end.value())},
          {"input_dbfs", json_number(step.input)},
          {"level_dbfs", json_number(step.level)},
          {"level_v", json_number(step.level_v)},
          {"gain_db", json_number(step.gain)},
          {"thdn_percent", json_number(step.thdn)},
          {"overdrive_positive_db", json_number(step.overdrive_positive)},
          {"overdrive_negative_db", json_number(step.overdrive_negative)},
          {"verdict", judge::name(step.verdict)}};
}

Json point_json(const std::optional<judge::OnsetPoint>& point, const char* limit_key,
                double limit) {
  if (!point) return nullptr;
  Json json;
  if (limit_key != nullptr) json[limit_key] = json_number(limit);
  json["input_dbfs"] = json_number(point->input);
  json["level_dbfs"] = json_number(point->level.value());
  json["level_v"] = json_number(point->level_v);
  json["uncertainty_db"] = json_number(point->uncertainty.value());
  return json;
}

Json found_json(const StepsFound& found) {
  return {{"found_by", name(found.by)},
          {"steps", found.steps},
          {"rise_db", json_number(found.rise)},
          {"start_s", json_number(found.start)},
          {"dwell_s", json_number(found.dwell)}};
}

Json channel_json(const judge::ChannelOnset& channel, const StepsFound& found,
                  const judge::OnsetLimits& limits) {
  Json steps = Json::array();
  for (const auto& step : channel.steps) steps.push_back(step_json(step));
  Json json;
  json["channel"] = channel.channel;
  json["ladder"] = found_json(found);
  json["steps"] = std::move(steps);
  json["onset"] = {
      {"thdn", point_json(channel.thdn, "limit_percent", limits.analysis.thdn.value())},
      {"flat_top", point_json(channel.flat_top, nullptr, 0.0)},
      {"compression", point_json(channel.compression, "limit_db", limits.compression.value())}};
  json["small_signal_gain_db"] = json_number(channel.small_signal_gain);
  json["highest_clean_step"] = nullptr;
  if (channel.highest_clean_step) json["highest_clean_step"] = *channel.highest_clean_step;
  json["verdict"] = judge::name(channel.verdict);
  json["reasons"] = channel.reasons;
  return json;
}

Json index_json(const std::optional<int>& index) {
  if (!index) return nullptr;
  return *index;
}

Json stage_json(const judge::StageComparison& stage, int channel) {
  Json steps = Json::array();
  for (const auto& step : stage.steps) {
    steps.push_back({{"index", step.index},
                     {"overdrive_before_db", json_number(step.before.value())},
                     {"overdrive_after_db", json_number(step.after.value())},
                     {"added_db", json_number(step.added.value())},
                     {"thdn_before_percent", json_number(step.thdn_before)},
                     {"thdn_after_percent", json_number(step.thdn_after)}});
  }
  return {{"channel", channel},
          {"first", judge::name(stage.first)},
          {"sentence", stage.sentence},
          {"first_step_before", index_json(stage.first_step_before)},
          {"first_step_after", index_json(stage.first_step_after)},
          {"first_step_added", index_json(stage.first_step_added)},
          {"steps", std::move(steps)}};
}

}  // namespace

const char* name(StepsFound::By by) {
  switch (by) {
    case StepsFound::By::nothing:
      return "nothing";
    case StepsFound::By::options:
      return "options";
    case StepsFound::By::marker:
      return "marker";
    case StepsFound::By::levels:
      return "levels";
    case StepsFound::By::standing:
      return "standing-levels";
  }
  return "nothing";
}

std::string onset_json(const OnsetDocument& document) {
  Json json;
  json["schema"] = "railtap.onset/1";
  json["file"] = {{"name", document.file_name},
                  {"sample_rate_hz", json_number(document.format.rate.value())},
                  {"channels", document.format.channels},
                  {"encoding", document.format.encoding}};
  json["limit_thdn_percent"] = json_number(document.limits.analysis.thdn.value());
  json["volts_per_full_scale"] = json_number(document.limits.analysis.volts_per_full_scale);
  Json channels = Json::array();
  for (std::size_t i = 0; i < document.channels.size(); ++i) {
    channels.push_back(channel_json(document.channels[i], document.found[i], document.limits));
  }
  json["channels"] = std::move(channels);
  json["warnings"] = document.warnings;
  json["stage"] = nullptr;
  if (document.before_name) {
    Json stages = Json::array();
    for (std::size_t i = 0; i < document.stages.size(); ++i) {
      stages.push_back(stage_json(document.stages[i], document.channels[i].channel));
    }
    json["stage"] = {{"before", *document.before_name}, {"channels", std::move(stages)}};
  }
  return system::json_line(json);
}

}  // namespace railtap::report
