// SPDX-License-Identifier: MIT
// How far a guided walk has come.
#include "command/walk_state.hpp"

#include "units/error.hpp"

namespace railtap::command {
namespace {

using system::Json;

constexpr const char* kind = "walk";
constexpr const char* schema = "railtap.walk/1";

WalkChannel channel_in(const Json& json) {
  WalkChannel channel;
  channel.plate.name = json.at("name").get<std::string>();
  channel.plate.amplifier_power = Watts(json.at("power_w").get<double>());
  channel.plate.load = Ohms(json.at("load_ohm").get<double>());
  if (json.at("speaker_power_w").is_number())
    channel.plate.speaker_power = Watts(json["speaker_power_w"].get<double>());
  channel.bass = json.at("bass").get<bool>();
  return channel;
}

void take(WalkState& state, const Json& mark) {
  const auto step = mark.at("step").get<std::string>();
  state.done.insert(step);
  if (step == "facts") {
    state.meter = mark.at("meter").get<std::string>();
    state.channels.clear();
    for (const Json& channel : mark.at("channels")) state.channels.push_back(channel_in(channel));
  }
  if (step == "calibration")
    state.volts_per_full_scale = Volts(mark.at("volts_per_full_scale").get<double>());
  if (step == "source") state.volume = mark.at("volume").get<int>();
}

}  // namespace

WalkState read_walk_state(const std::filesystem::path& record) {
  WalkState state;
  if (!std::filesystem::exists(record)) return state;
  for (const auto& entry : system::read_job_record(record).entries) {
    if (entry.kind != kind) continue;
    try {
      take(state, entry.result);
    } catch (const Json::exception&) {
      throw Error("a mark of the guided walk is damaged", record.string(),
                  "begin a new record, or remove that entry");
    }
  }
  return state;
}

void mark_step(const std::filesystem::path& record, const std::string& step, Json details) {
  system::RecordEntry entry;
  entry.kind = kind;
  entry.result = Json{{"schema", schema}, {"step", step}};
  entry.result.update(details);
  system::append_to_job_record(record, std::move(entry));
}

Json json_of(const WalkChannel& channel) {
  Json json = {{"name", channel.plate.name},
               {"power_w", channel.plate.amplifier_power.value()},
               {"load_ohm", channel.plate.load.value()},
               {"speaker_power_w", nullptr},
               {"bass", channel.bass}};
  if (channel.plate.speaker_power) json["speaker_power_w"] = channel.plate.speaker_power->value();
  return json;
}

}  // namespace railtap::command
