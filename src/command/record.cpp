// SPDX-License-Identifier: MIT
// `railtap record` and `railtap sheet`: what a job's record holds, as lines and as a setup sheet.

#include <algorithm>
#include <filesystem>
#include <iostream>
#include <memory>
#include <string>

#include "command/command.hpp"
#include "files/atomic_file.hpp"
#include "report/record_text.hpp"
#include "report/sheet/sheet.hpp"
#include "system/job_record.hpp"
#include "units/error.hpp"

namespace railtap::command {

// `railtap record`: what a job's record holds, and remarks for it.

namespace {

struct RecordOptions {
  std::string file, subject, stage, moment;
  std::optional<std::string> note;
  std::optional<std::string> vehicle, owner, installer, date;
  bool json = false;
};

void add_note(const RecordOptions& options) {
  if (options.note->empty()) throw Error("the note is empty", "--note", "write the remark");
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
  const bool job = options.vehicle || options.owner || options.installer || options.date;
  if (options.note) add_note(options);
  if (job) add_job(options);
  const system::JobRecord record = system::read_job_record(options.file);
  // Who adds something sees that, and who asks for the record all of it.
  const std::size_t added = (options.note ? 1U : 0U) + (job ? 1U : 0U);
  const std::size_t first =
      added > 0 ? record.entries.size() - std::min(added, record.entries.size()) : 0;
  std::cout << (options.json ? system::job_record_text(record)
                             : report::record_text(record, first));
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

// `railtap sheet`: the setup sheet out of a job's record.

namespace {

namespace fs = std::filesystem;

struct SheetOptions {
  std::string record, output, compare;
  bool force = false;
};

/// A folder stands for the record in it.
fs::path record_in(const fs::path& given) {
  std::error_code ignored;
  return fs::is_directory(given, ignored) ? given / "job.json" : given;
}

system::Json document_in(const fs::path& record) {
  return system::job_record_document(system::read_job_record(record));
}

fs::path output_of(const SheetOptions& options, const fs::path& record) {
  if (!options.output.empty()) return options.output;
  return record.parent_path() / "sheet.html";
}

ExitStatus sheet(const SheetOptions& options) {
  const fs::path record = record_in(options.record);
  const system::Json earlier =
      options.compare.empty() ? system::Json() : document_in(record_in(options.compare));
  const fs::path output = output_of(options, record);
  files::write_file(output, report::sheet_html(document_in(record), earlier),
                    options.force ? files::Overwrite::allow : files::Overwrite::refuse);
  std::cout << "wrote " << output.string() << '\n';
  return ExitStatus::within_limits;
}

}  // namespace

Command sheet_command() {
  auto options = std::make_shared<SheetOptions>();
  Command command("sheet", "Write the setup sheet of a job: one HTML file");
  command.footer =
      "Examples:\n"
      "  railtap sheet job.json --output sheet.html\n"
      "  railtap sheet job.json --compare earlier.json --output compared.html\n"
      "It opens from a file, prints on A4 and Letter, and needs neither network nor scripts.";
  command.text("RECORD", options->record, "The job's record, or a folder with a job.json in it")
      .required();
  command
      .text("-o,--output", options->output, "Where to write it; else sheet.html beside the record")
      .called("FILE");
  command.text("--compare", options->compare, "An earlier record to compare with").called("FILE");
  command.flag("--force", options->force, "Overwrite a sheet that exists");
  command.run = [options] { return sheet(*options); };
  return command;
}

}  // namespace railtap::command
