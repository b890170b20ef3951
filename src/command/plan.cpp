// SPDX-License-Identifier: MIT
// `railtap plan`: targets, order of work and warnings for a described system.
#include <CLI/CLI.hpp>
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
  if (options.json) {
    std::cout << report::plan_json(plan);
  } else {
    std::cout << (options.markdown ? report::plan_markdown(plan) : report::plan_text(plan));
  }
  write_down(options.recording, "plan", report::plan_json(plan), nullptr, described.document);
  return passes(plan) ? ExitStatus::within_limits : ExitStatus::outside_limits;
}

}  // namespace

void add_plan(CLI::App& app, ExitStatus& status) {
  auto options = std::make_shared<PlanOptions>();
  auto* command = app.add_subcommand("plan", "Targets, order of work and warnings for a system");
  command->footer(
      "Examples:\n"
      "  railtap system van.toml\n"
      "  railtap plan van.toml\n"
      "  railtap plan van.toml --markdown\n"
      "Exit status: 0 every target can be reached and the supply stands it, 1 otherwise.");
  command->add_option("SYSTEM", options->file, "The described system (TOML)")->required();
  auto* json =
      command->add_flag("--json", options->json, "Print one JSON document (railtap.plan/1)");
  command->add_flag("--markdown", options->markdown, "Print a checklist in Markdown, for paper")
      ->excludes(json);
  add_recording_options(*command, options->recording);
  command->callback([options, &status] { status = run(*options); });
}

}  // namespace railtap::command
