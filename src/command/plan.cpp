// SPDX-License-Identifier: MIT
// `railtap plan`: targets, order of work and warnings for a described system.
#include <iostream>
#include <memory>
#include <string>

#include "command/command.hpp"
#include "command/recording_options.hpp"
#include "report/plan.hpp"
#include "system/plan.hpp"

namespace railtap::command {
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
