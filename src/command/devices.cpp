// SPDX-License-Identifier: MIT
// `railtap devices`: the audio inputs that there are, and what each can do.
#include <CLI/CLI.hpp>
#include <iostream>
#include <memory>

#include "command/command.hpp"
#include "report/capture.hpp"

namespace railtap::command {

void add_devices(CLI::App& app, ExitStatus& status) {
  auto* command = app.add_subcommand("devices", "List the audio inputs and what each can do");
  command->footer("Example:\n  railtap devices");
  auto json = std::make_shared<bool>(false);
  command->add_flag("--json", *json, "Print one JSON document");
  command->callback([json, &status] {
    const auto inputs = audio::list_inputs();
    std::cout << (*json ? report::devices_json(inputs) : report::devices_text(inputs));
    status = ExitStatus::within_limits;
  });
}

}  // namespace railtap::command
