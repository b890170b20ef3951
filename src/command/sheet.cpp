// SPDX-License-Identifier: MIT
// `railtap sheet`: the setup sheet out of a job's record.
#include <filesystem>
#include <iostream>
#include <memory>
#include <string>

#include "command/command.hpp"
#include "files/atomic_file.hpp"
#include "report/sheet/sheet.hpp"
#include "system/job_record.hpp"
#include "units/error.hpp"

namespace railtap::command {
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
  command.text("--compare", options->compare, "An earlier record, to be set beside this one")
      .called("FILE");
  command.flag("--force", options->force, "Overwrite a sheet that exists");
  command.run = [options] { return sheet(*options); };
  return command;
}

}  // namespace railtap::command
