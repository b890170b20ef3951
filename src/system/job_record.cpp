// SPDX-License-Identifier: MIT
// A job's record: what was measured, when and with which calibration, as JSON that outlives it.
#include "system/job_record.hpp"

#include <algorithm>
#include <nlohmann/json.hpp>

#include "files/atomic_file.hpp"
#include "system/json.hpp"
#include "units/error.hpp"

namespace railtap::system {
namespace {

namespace fs = std::filesystem;
using Value = nlohmann::ordered_json;  // as the file has it

constexpr std::string_view kind = "railtap.record";
constexpr int version = 1;
// An analysis has some kilobytes: thousands of them fit, and a whole one is still read in a blink.
constexpr std::size_t most_bytes = 32'000'000;
// The deepest document of ours has seven levels; printing one that is nested without end would
// exhaust the stack.
constexpr int deepest = 64;

std::string line_at(std::string_view text, std::size_t byte) {
  const auto end = text.begin() + static_cast<std::ptrdiff_t>(std::min(byte, text.size()));
  return ", line " + std::to_string(1 + std::count(text.begin(), end, '\n'));
}

Error damaged(const std::string& problem, const std::string& place) {
  return {problem, place, "restore the file from a copy, or start a new record"};
}

Value parsed(std::string_view text, const std::string& place) {
  const auto guard = [&place](int depth, Value::parse_event_t, Value&) {
    if (depth > deepest) throw damaged("the file is nested too deeply for a record", place);
    return true;
  };
  try {
    return Value::parse(text, guard);
  } catch (const Value::parse_error& error) {
    if (text.find("\"railtap.system/") != std::string_view::npos)
      throw Error("is a system file, not a record", place,
                  "for example: railtap walk job.json --system van.toml");
    throw damaged("the file is not complete JSON", place + line_at(text, error.byte));
  } catch (const Value::exception&) {  // a number beyond what a double holds
    throw damaged("the file holds a value that cannot be read", place);
  }
}

std::string text_at(const Value& object, const char* key, const std::string& place) {
  const auto found = object.find(key);
  if (found == object.end() || found->is_null()) return {};
  if (found->is_string()) return found->get<std::string>();
  throw damaged(std::string("\"") + key + "\" is not text", place);
}

/// An object, or null where there is none.
Json object_at(const Value& object, const char* key, const std::string& place) {
  const auto found = object.find(key);
  if (found == object.end() || found->is_null()) return nullptr;
  if (found->is_object()) return Json(*found);
  throw damaged(std::string("\"") + key + "\" is not an object", place);
}

RecordEntry entry_in(const Value& object, const std::string& place) {
  if (!object.is_object()) throw damaged("the entry is not an object", place);
  RecordEntry entry;
  entry.kind = text_at(object, "kind", place);
  if (entry.kind.empty()) throw damaged("\"kind\" is missing", place);
  entry.subject = text_at(object, "subject", place);
  entry.stage = text_at(object, "stage", place);
  entry.moment = text_at(object, "moment", place);
  entry.note = text_at(object, "note", place);
  entry.time = text_at(object, "time", place);
  entry.result = object_at(object, "result", place);
  entry.calibration = object_at(object, "calibration", place);
  return entry;
}

JobRecord record_in(const Value& document, const std::string& place) {
  if (!document.is_object()) throw damaged("the file is not a record", place);
  const std::string schema = text_at(document, "schema", place);
  require_schema(schema.empty() ? std::nullopt : std::optional(schema), kind, version, place);
  JobRecord record;
  record.name = text_at(document, "name", place);
  record.created = text_at(document, "created", place);
  record.system = object_at(document, "system", place);
  record.rehearsal = object_at(document, "rehearsal", place);
  const auto entries = document.find("entries");
  if (entries == document.end() || !entries->is_array()) {
    throw damaged("\"entries\" is not a list", place);
  }
  for (const Value& entry : *entries) {
    record.entries.push_back(
        entry_in(entry, place + ", entry " + std::to_string(record.entries.size() + 1)));
  }
  return record;
}

Json json_of(const RecordEntry& entry) {
  return {{"time", entry.time},   {"kind", entry.kind},     {"subject", entry.subject},
          {"stage", entry.stage}, {"moment", entry.moment}, {"calibration", entry.calibration},
          {"note", entry.note},   {"result", entry.result}};
}

std::string in_one_line(const Value& value) {
  return value.dump(-1, ' ', false, Value::error_handler_t::replace);
}

/// An entry is a line, so that a person can find and compare them.
std::string text_of(const Value& document) {
  std::string text = "{";
  const char* before = "\n";
  for (const auto& [key, value] : document.items()) {
    text += before + in_one_line(key) + ": ";
    before = ",\n";
    if (key != "entries") {
      text += in_one_line(value);
      continue;
    }
    std::string lines;
    for (const Value& entry : value)
      lines += (lines.empty() ? "\n  " : ",\n  ") + in_one_line(entry);
    text += "[" + lines + "\n]";
  }
  return text + "\n}\n";
}

/// The file's whole content, also what this version does not know, once it is known to be a record.
Value document_at(const fs::path& path) {
  if (!fs::exists(fs::symlink_status(path)))
    return job_record_document({path.stem().string(), utc_now(), nullptr, {}, {}}).value();
  Value document = parsed(files::read_file(path, most_bytes), path.string());
  (void)record_in(document, path.string());
  return document;
}

void take_system(Value& document, const Value& system) {
  document["system"] = system;
  const auto name = system.find("name");
  if (name != system.end() && name->is_string()) document["name"] = *name;
}

/// The file behind a link is replaced, not the link; it need not be there yet.
fs::path behind_link(const fs::path& path) {
  std::error_code ignored;
  if (fs::exists(path, ignored)) return fs::canonical(path);
  if (!fs::is_symlink(path, ignored)) return path;
  return path.parent_path() / fs::read_symlink(path);  // an absolute one replaces the folder
}

}  // namespace

JobRecord parse_job_record(std::string_view text, const std::string& place) {
  return record_in(parsed(text, place), place);
}

JobRecord read_job_record(const fs::path& path) {
  return parse_job_record(files::read_file(path, most_bytes), path.string());
}

Json job_record_document(const JobRecord& record) {
  Json entries = Json::array();
  for (const RecordEntry& entry : record.entries) entries.push_back(json_of(entry));
  Json document = {{"schema", std::string(kind) + "/" + std::to_string(version)},
                   {"name", record.name},
                   {"created", record.created},
                   {"system", record.system}};
  if (!record.rehearsal.is_null()) document.set("rehearsal", record.rehearsal);
  document.set("entries", std::move(entries));
  return document;
}

std::string job_record_text(const JobRecord& record) {
  return text_of(job_record_document(record).value());
}

void set_rehearsal(const fs::path& given, const Json& rehearsal) {
  files::refuse_standard_input(given);
  const fs::path path = behind_link(given);
  const files::FileLock lock(path);
  Value document = document_at(path);
  document["rehearsal"] = rehearsal.value();
  files::write_file(path, text_of(document), files::Overwrite::allow);
  files::sync_folder_of(path);
}

void append_to_job_record(const fs::path& path, RecordEntry entry,
                          const std::optional<Json>& system) {
  std::vector<RecordEntry> entries;
  entries.push_back(std::move(entry));
  append_to_job_record(path, std::move(entries), system);
}

void append_to_job_record(const fs::path& given, std::vector<RecordEntry> entries,
                          const std::optional<Json>& system) {
  files::refuse_standard_input(given);
  const fs::path path = behind_link(given);
  const files::FileLock lock(path);
  Value document = document_at(path);
  if (system) take_system(document, system->value());
  for (RecordEntry& entry : entries) {
    if (entry.time.empty()) entry.time = utc_now();
    document["entries"].push_back(json_of(entry).value());
  }
  const std::string text = text_of(document);
  if (text.size() > most_bytes) {
    throw Error("the record is full", path.string(), "start a new one under another name");
  }
  files::write_file(path, text, files::Overwrite::allow);
  files::sync_folder_of(path);
}

}  // namespace railtap::system
