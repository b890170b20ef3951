// SPDX-License-Identifier: MIT
// The command table, and the one place where errors become words and an exit status.
#include <CLI/CLI.hpp>
#include <exception>
#include <iostream>

#include "command/command.hpp"
#include "units/error.hpp"

namespace {

using railtap::command::ExitStatus;

int parse_and_run(int argc, char** argv) {
  CLI::App app{"railtap sets the gain stages of a car stereo by measurement.", "railtap"};
  app.require_subcommand(1);
  app.set_version_flag("--version", std::string("railtap " RAILTAP_VERSION));
  ExitStatus status = ExitStatus::within_limits;
  railtap::command::add_analyze(app, status);
  railtap::command::add_reference(app, status);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    // CLI11 has statuses above 100 for each kind of mistake; the contract has one.
    return app.exit(error) == 0 ? 0 : static_cast<int>(ExitStatus::could_not);
  }
  return static_cast<int>(status);
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return parse_and_run(argc, argv);
  } catch (const railtap::Interrupted&) {
    std::cerr << "railtap: interrupted; nothing half-written was left behind\n";
    return static_cast<int>(ExitStatus::interrupted);
  } catch (const std::exception& error) {
    std::cerr << "railtap: " << error.what() << '\n';
    return static_cast<int>(ExitStatus::could_not);
  }
}
