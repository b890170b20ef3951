// SPDX-License-Identifier: MIT
// `railtap analyze`: everything about a steady tone, or silence, in a file.
#include <CLI/CLI.hpp>

#include "command/command.hpp"

namespace railtap::command {

void add_analyze(CLI::App& app, ExitStatus& status) {
  auto* command =
      app.add_subcommand("analyze", "Measure a steady tone, or silence, in a recording");
  command->callback([&status] { status = ExitStatus::could_not; });
}

}  // namespace railtap::command
