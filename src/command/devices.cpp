// SPDX-License-Identifier: MIT
// `railtap devices`: the audio inputs that there are, and what each can do.
#include <iostream>
#include <memory>

#include "command/command.hpp"
#include "report/capture.hpp"

namespace railtap::command {

Command devices_command() {
  Command command("devices", "List the audio inputs and what each can do");
  command.footer = "Example:\n  railtap devices";
  auto json = std::make_shared<bool>(false);
  command.flag("--json", *json, "Print one JSON document");
  command.run = [json] {
    const auto inputs = audio::list_inputs();
    std::cout << (*json ? report::devices_json(inputs).page() : report::devices_text(inputs));
    return ExitStatus::within_limits;
  };
  return command;
}

}  // namespace railtap::command
