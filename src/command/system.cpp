// SPDX-License-Identifier: MIT
// `railtap system`: starts the file that describes a system, or checks one.
#include <iostream>
#include <memory>
#include <string>

#include "command/command.hpp"
#include "files/atomic_file.hpp"
#include "report/plan.hpp"
#include "system/system_description.hpp"

namespace railtap::command {
namespace {

struct SystemOptions {
  std::string file;
  bool check = false, json = false, force = false;
};

ExitStatus run(const SystemOptions& options) {
  if (!options.check) {
    files::write_file(options.file, system::starter_text(),
                      options.force ? files::Overwrite::allow : files::Overwrite::refuse);
    std::cerr << "wrote " << options.file << ": put in your own values, then railtap system "
              << options.file << " --check\n";
    return ExitStatus::within_limits;
  }
  const system::SystemDescription described = system::read_system(options.file);
  std::cout << (options.json ? described.document.page() : report::system_text(described));
  return ExitStatus::within_limits;
}

}  // namespace

Command system_command() {
  auto options = std::make_shared<SystemOptions>();
  Command command("system", "Start a file that describes your system, or check one");
  command.footer =
      "Examples:\n"
      "  railtap system van.toml\n"
      "  railtap system van.toml --check";
  command.text("SYSTEM", options->file, "The file to write, or to check (TOML)").required();
  command.flag("--check", options->check, "Read it and print what it says");
  command.flag("--json", options->json, "Print one JSON document (railtap.system/1)")
      .needs("--check");
  command.flag("--force", options->force, "Overwrite the file if it exists").excludes("--check");
  command.run = [options] { return run(*options); };
  return command;
}

}  // namespace railtap::command
