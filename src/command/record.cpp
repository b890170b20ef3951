// SPDX-License-Identifier: MIT
// `railtap record`: what a job's record holds, and remarks for it.
#include <CLI/CLI.hpp>
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
  std::string file, note, subject, stage, moment;
  bool json = false;
};

void add_note(const RecordOptions& options) {
  if (options.note.empty()) throw Error("the note is empty", "--note", "write what is to be kept");
  system::RecordEntry entry;
  entry.kind = "note";
  entry.note = options.note;
  entry.subject = options.subject;
  entry.stage = options.stage;
  entry.moment = options.moment;
  system::append_to_job_record(options.file, entry);
}

ExitStatus run(const RecordOptions& options, bool with_note) {
  if (with_note) add_note(options);
  const system::JobRecord record = system::read_job_record(options.file);
  std::cout << (options.json ? system::job_record_text(record) : report::record_text(record));
  return ExitStatus::within_limits;
}

}  // namespace

void add_record(CLI::App& app, ExitStatus& status) {
  auto options = std::make_shared<RecordOptions>();
  auto* command = app.add_subcommand(
      "record", "Show a job's record, or add a remark such as a gain's position");
  command->footer(
      "Examples:\n"
      "  railtap record job.json --subject front --note \"gain at a quarter, high-pass off\"\n"
      "  railtap record job.json");
  command->add_option("RECORD", options->file, "The job record (JSON)")->required();
  auto* note = command->add_option("--note", options->note,
                                   "Add this remark; the record is made if it is missing");
  note->type_name("TEXT");
  command->add_option("--subject", options->subject, "What the remark is about")
      ->type_name("NAME")
      ->needs(note);
  command->add_option("--stage", options->stage, "Whose output: the head unit's or the amplifier's")
      ->check(CLI::IsMember({"source", "amplifier"}))
      ->needs(note);
  command->add_option("--moment", options->moment, "Before or after a correction")
      ->check(CLI::IsMember({"before", "after"}))
      ->needs(note);
  command->add_flag("--json", options->json, "Print one JSON document (railtap.record/1)");
  command->callback([options, note, &status] { status = run(*options, note->count() > 0); });
}

}  // namespace railtap::command
