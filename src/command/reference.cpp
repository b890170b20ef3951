// SPDX-License-Identifier: MIT
// `railtap reference`: the manual page and the shells' completions, written from the command table
// itself.
#include <CLI/CLI.hpp>
#include <iostream>

#include "command/command.hpp"
#include "command/manual.hpp"

namespace railtap::command {

void add_reference(CLI::App& app, ExitStatus& status) {
  // An empty group keeps it off the help screen: the build uses it, people need not.
  auto* command =
      app.add_subcommand("reference", "Print the manual page or a shell's completion")->group("");
  auto kind = std::make_shared<std::string>();
  command->add_option("KIND", *kind, "What to print")
      ->required()
      ->check(CLI::IsMember({"man", "bash", "zsh", "fish"}));
  command->callback([&app, &status, kind] {
    if (*kind == "man") {
      write_manual_page(std::cout, app);
    } else {
      write_completion(std::cout, app, *kind);
    }
    status = ExitStatus::within_limits;
  });
}

}  // namespace railtap::command
