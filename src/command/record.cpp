// SPDX-License-Identifier: MIT
// `railtap record`: what a job's record holds, and remarks for it.
#include <iostream>
#include <memory>
#include <string>

#include "command/command.hpp"
#include "report/record_text.hpp"
#include "system/job_record.hpp"
#include "units/error.hpp"

namespace railtap::command {
namespace {

struct RecordOptions {
  std::string file, subject, stage, moment;
  std::optional<std::string> note;
  std::optional<std::string> vehicle, owner, installer, date;
  bool json = false;
};

void add_note(const RecordOptions& options) {
  if (options.note->empty()) throw Error("the note is empty", "--note", "write what is to be kept");
  system::RecordEntry entry;
  entry.kind = "note";
  entry.note = *options.note;
  entry.subject = options.subject;
  entry.stage = options.stage;
  entry.moment = options.moment;
  system::append_to_job_record(options.file, entry);
}

/// Whose the vehicle is and who did the work, for the sheet. What was not given keeps what was
/// recorded before; an empty text takes it off the sheet.
void add_job(const RecordOptions& options) {
  system::Json result = system::Json::object();
  const auto set = [&](const char* key, const std::optional<std::string>& value) {
    if (value) result.set(key, *value);
  };
  set("vehicle", options.vehicle);
  set("owner", options.owner);
  set("installer", options.installer);
  set("date", options.date);
  system::RecordEntry entry;
  entry.kind = "job";
  entry.result = std::move(result);
  system::append_to_job_record(options.file, entry);
}

ExitStatus run(const RecordOptions& options) {
  if (options.note) add_note(options);
  if (options.vehicle || options.owner || options.installer || options.date) add_job(options);
  const system::JobRecord record = system::read_job_record(options.file);
  std::cout << (options.json ? system::job_record_text(record) : report::record_text(record));
  return ExitStatus::within_limits;
}

}  // namespace

Command record_command() {
  auto options = std::make_shared<RecordOptions>();
  Command command("record", "Show a job's record, or add a remark such as a gain's position");
  command.footer =
      "Examples:\n"
      "  railtap record job.json --subject front --note \"gain at a quarter, high-pass off\"\n"
      "  railtap record job.json --vehicle \"camper van\" --owner \"A. Example\"\n"
      "  railtap record job.json";
  command.text("RECORD", options->file, "The job record (JSON)").required();
  command.text("--note", options->note, "Add this remark; the record is made if it is missing");
  command.text("--subject", options->subject, "What the remark is about")
      .called("NAME")
      .needs("--note");
  command.text("--stage", options->stage, "Whose output: the head unit's or the amplifier's")
      .one_of({"source", "amplifier"})
      .needs("--note");
  command.text("--moment", options->moment, "Before or after a correction")
      .one_of({"before", "after"})
      .needs("--note");
  command.text("--vehicle", options->vehicle, "For the sheet: which vehicle").called("TEXT");
  command.text("--owner", options->owner, "For the sheet: whose it is").called("TEXT");
  command.text("--installer", options->installer, "For the sheet: who did the work").called("TEXT");
  command
      .text("--date", options->date,
            "For the sheet: when it was handed over; else the last entry's")
      .called("TEXT");
  command.flag("--json", options->json, "Print one JSON document (railtap.record/1)");
  command.run = [options] { return run(*options); };
  return command;
}

}  // namespace railtap::command
