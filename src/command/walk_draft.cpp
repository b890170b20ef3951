// SPDX-License-Identifier: MIT
// The answers of a walk's step at hand, in a file beside the record.
#include "command/walk_draft.hpp"

#include <nlohmann/json.hpp>

#include "files/atomic_file.hpp"
#include "units/error.hpp"

namespace railtap::command {
namespace {

namespace fs = std::filesystem;
using system::Json;
using Value = nlohmann::ordered_json;

constexpr const char* schema = "railtap.walk-draft/1";
constexpr std::size_t most_bytes = 1'000'000;

WalkDraft draft_in(const Value& json) {
  WalkDraft draft;
  if (json.at("schema").get<std::string>() != schema)
    throw Error("it is not of the version that this program reads", "", "");
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
  const Json document = {{"schema", schema},
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
