// SPDX-License-Identifier: MIT
// `railtap system` and `railtap plan`: a described system to start from, and what follows from it.

#include <iostream>
#include <memory>
#include <string>

#include "command/command.hpp"
#include "command/result_options.hpp"
#include "files/atomic_file.hpp"
#include "report/plan.hpp"
#include "system/plan.hpp"
#include "system/system_description.hpp"

namespace railtap::command {

// `railtap system`: starts the file that describes a system, or checks one.

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

// `railtap plan`: targets, order of work and warnings for a described system.

namespace {

struct PlanOptions {
  std::string file;
  bool json = false, markdown = false;
  RecordingOptions recording;
};

ExitStatus run(const PlanOptions& options) {
  check_recording(options.recording);
  const system::SystemDescription described = system::read_system(options.file);
  const system::Plan plan = system::make_plan(described);
  const bool wanted = options.json || is_recorded(options.recording);
  system::Json json = wanted ? report::plan_json(plan) : system::Json();
  if (options.json) {
    std::cout << json.page();
  } else {
    std::cout << (options.markdown ? report::plan_markdown(plan) : report::plan_text(plan));
  }
  write_down(options.recording, "plan", std::move(json), nullptr, described.document);
  return passes(plan) ? ExitStatus::within_limits : ExitStatus::outside_limits;
}

}  // namespace

Command plan_command() {
  auto options = std::make_shared<PlanOptions>();
  Command command("plan", "Targets, order of work and warnings for a system");
  command.footer =
      "Examples:\n"
      "  railtap system van.toml\n"
      "  railtap plan van.toml\n"
      "  railtap plan van.toml --markdown\n"
      "Exit status: 0 every target can be reached and the supply carries it, 1 otherwise.";
  command.text("SYSTEM", options->file, "The described system (TOML)").required();
  command.flag("--json", options->json, "Print one JSON document (railtap.plan/1)");
  command.flag("--markdown", options->markdown, "Print a checklist in Markdown, for paper")
      .excludes("--json");
  add_recording_options(command, options->recording);
  command.run = [options] { return run(*options); };
  return command;
}

}  // namespace railtap::command
