// SPDX-License-Identifier: MIT
// What a step of the guided walk is, how far a walk has come (told by the marks that it leaves in
// the job's record), and the answers of the step at hand, kept in a file so that nothing has to be
// answered twice.
#include "command/walk_state.hpp"

#include <nlohmann/json.hpp>

#include "files/atomic_file.hpp"
#include "system/json.hpp"
#include "units/error.hpp"

namespace railtap::command {

// How far a guided walk has come.

namespace {

using system::Json;
using system::json_number;
using system::quantity_at;
using Value = nlohmann::ordered_json;  // of a record that somebody may have edited

constexpr const char* kind = "walk";
constexpr const char* mark_schema = "railtap.walk/1";

// A list; of an older record one text, which cannot be taken apart for sure.
std::vector<std::string> names_in(const Value& json) {
  if (json.is_array()) return json.get<std::vector<std::string>>();
  return {};
}

WalkChannel channel_in(const Value& json) {
  WalkChannel channel;
  channel.plate.name = json.at("name").get<std::string>();
  channel.plate.amplifier_power = Watts(json.at("power_w").get<double>());
  channel.plate.load = Ohms(json.at("load_ohm").get<double>());
  if (json.at("speaker_power_w").is_number())
    channel.plate.speaker_power = Watts(json["speaker_power_w"].get<double>());
  channel.bass = json.at("bass").get<bool>();
  channel.tone =
      quantity_at<Hertz>(json, "tone_hz").value_or(channel.bass ? bass_tone : usual_tone);
  if (const auto most = quantity_at<Volts>(json, "bound_v"))
    channel.bound = {*most, json.at("bound_by").get<std::string>()};
  if (json.contains("outputs")) channel.outputs = names_in(json["outputs"]);
  if (json.contains("carries")) channel.carries = names_in(json["carries"]);
  channel.switches = json.value("switches", "");
  return channel;
}

WalkFacts facts_in(const Value& mark) {
  WalkFacts facts;
  facts.meter = mark.at("meter").get<std::string>();
  for (const Value& channel : mark.at("channels")) facts.channels.push_back(channel_in(channel));
  facts.tap_full_scale = quantity_at<Volts>(mark, "tap_full_scale_v");
  facts.tone_level = quantity_at<Dbfs>(mark, "tone_level_dbfs").value_or(facts.tone_level);
  facts.tolerance = quantity_at<Decibels>(mark, "tolerance_db").value_or(facts.tolerance);
  if (mark.contains("volume_steps") && mark["volume_steps"].is_number())
    facts.volume_steps = mark["volume_steps"].get<int>();
  if (mark.contains("source_outputs")) facts.source_outputs = names_in(mark["source_outputs"]);
  return facts;
}

Json json_of(const WalkChannel& channel) {
  Json json = {{"name", channel.plate.name},
               {"power_w", channel.plate.amplifier_power.value()},
               {"load_ohm", channel.plate.load.value()},
               {"speaker_power_w", json_number(channel.plate.speaker_power)},
               {"bass", channel.bass},
               {"tone_hz", channel.tone.value()},
               {"bound_v", nullptr},
               {"bound_by", nullptr},
               {"outputs", channel.outputs},
               {"carries", channel.carries},
               {"switches", channel.switches}};
  if (channel.bound) {
    json.set("bound_v", channel.bound->volts.value());
    json.set("bound_by", channel.bound->by);
  }
  return json;
}

void take(WalkState& state, const Value& mark) {
  const auto step = mark.at("step").get<std::string>();
  const bool undone = mark.value("undone", false);
  state.left_out.erase(step);
  state.passed_over.erase(step);
  if (step == "calibration") state.volts_per_full_scale.reset();
  if (step == "source") state.volume.reset();
  if (undone) {
    state.done.erase(step);
    return;
  }
  state.done.insert(step);
  if (mark.contains("left_out")) {
    state.left_out[step] = mark["left_out"].get<std::string>();
    if (mark.value("passed_over", false)) state.passed_over.insert(step);
    return;
  }
  if (step == "facts") state.facts = facts_in(mark);
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
      take(state, entry.result.value());
    } catch (const Value::exception&) {
      throw Error("a mark of the guided walk is damaged", record.string(),
                  "begin a new record, or remove that entry");
    }
  }
  return state;
}

void mark_step(const std::filesystem::path& record, const std::string& step, const Json& details,
               const std::optional<Json>& system, std::vector<system::RecordEntry> entries) {
  system::RecordEntry mark;
  mark.kind = kind;
  mark.result = Json{{"schema", mark_schema}, {"step", step}};
  mark.result.update(details);
  entries.push_back(std::move(mark));
  system::append_to_job_record(record, std::move(entries), system);
}

void mark_undone(const std::filesystem::path& record, const std::string& step) {
  mark_step(record, step, {{"undone", true}});
}

bool same_document(const Json& one, const Json& other) {
  return nlohmann::json(one.value()) == nlohmann::json(other.value());
}

Json json_of(const WalkFacts& facts) {
  Json channels = Json::array();
  for (const WalkChannel& channel : facts.channels) channels.push_back(json_of(channel));
  Json json = {{"meter", facts.meter.value_or("")},
               {"channels", channels},
               {"tap_full_scale_v", json_number(facts.tap_full_scale)},
               {"tone_level_dbfs", facts.tone_level.value()},
               {"tolerance_db", facts.tolerance.value()},
               {"volume_steps", nullptr},
               {"source_outputs", facts.source_outputs}};
  if (facts.volume_steps) json.set("volume_steps", *facts.volume_steps);
  return json;
}

// The answers of a walk's step at hand, in a file beside the record.

namespace {

namespace fs = std::filesystem;
using system::Json;
using Value = nlohmann::ordered_json;

constexpr const char* draft_schema = "railtap.walk-draft/1";
constexpr std::size_t most_bytes = 1'000'000;

WalkDraft draft_in(const Value& json) {
  WalkDraft draft;
  if (json.at("schema").get<std::string>() != draft_schema)
    throw Error("it is of a version that this program does not read", "", "");
  draft.step = json.at("step").get<std::string>();
  draft.leaving_out = json.at("leaving_out").get<bool>();
  for (const Value& answer : json.at("answers"))
    draft.answers.given.push_back(
        {answer.at(0).get<std::string>(), answer.at(1).get<std::string>()});
  if (json.contains("rehearsal") && !json["rehearsal"].is_null())
    draft.rehearsal = Json(json["rehearsal"]);
  return draft;
}

}  // namespace

std::optional<std::string> Answers::find(const std::string& prompt) const {
  for (const Answer& answer : given) {
    if (answer.prompt == prompt) return answer.text;
  }
  return std::nullopt;
}

fs::path draft_of(const fs::path& record) {
  return record.parent_path() / ("." + record.filename().string() + ".walk");
}

WalkDraft read_draft(const fs::path& record) {
  const fs::path path = draft_of(record);
  if (!fs::exists(path)) return {};
  const Error damaged("the answers of the step at hand are damaged", path.string(),
                      "remove that file: the step begins again");
  try {
    return draft_in(Value::parse(files::read_file(path, most_bytes)));
  } catch (const Value::exception&) {
    throw damaged;
  } catch (const Error&) {
    throw damaged;
  }
}

void write_draft(const fs::path& record, const WalkDraft& draft) {
  Json answers = Json::array();
  for (const Answer& answer : draft.answers.given)
    answers.push_back(Json(std::vector<std::string>{answer.prompt, answer.text}));
  const Json document = {{"schema", draft_schema},
                         {"step", draft.step},
                         {"leaving_out", draft.leaving_out},
                         {"answers", answers},
                         {"rehearsal", draft.rehearsal}};
  files::write_file(draft_of(record), document.line() + "\n", files::Overwrite::allow);
}

void remove_draft(const fs::path& record) {
  std::error_code ignored;
  fs::remove(draft_of(record), ignored);
}

}  // namespace railtap::command
