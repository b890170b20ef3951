// SPDX-License-Identifier: MIT
// The command table, and the one place where errors become words and an exit status.
#include <CLI/CLI.hpp>
#include <cstdlib>
#include <exception>
#include <iostream>
#include <new>
#include <string>

#include "command/command.hpp"
#include "files/interrupt.hpp"
#include "units/error.hpp"

namespace {

using railtap::command::ExitStatus;

/// What was wrong with the command line, and where its help is.
railtap::Error mistake(const CLI::App& app, const CLI::ParseError& error) {
  std::string help = "railtap";
  for (const CLI::App* command : app.get_subcommands()) help += ' ' + command->get_name();
  std::string problem = error.what();
  while (!problem.empty() && (problem.back() == '\n' || problem.back() == '.')) problem.pop_back();
  return {problem, "", "see " + help + " --help"};
}

/// CLI11 would only say that a subcommand is required.
void check_command_name(const CLI::App& app, int argc, char** argv) {
  if (argc < 2) throw railtap::Error("no command was given", "", "see railtap --help");
  const std::string name = argv[1];
  const auto called = [&name](const CLI::App* command) { return command->get_name() == name; };
  if (name.starts_with('-') || !app.get_subcommands(called).empty()) return;
  throw railtap::Error("there is no command '" + name + "'", "", "see railtap --help");
}

int parse_and_run(int argc, char** argv) {
  CLI::App app{"railtap sets the gain stages of a car stereo by measurement.", "railtap"};
  app.require_subcommand(1);
  app.set_version_flag("--version", std::string("railtap " RAILTAP_VERSION));
  ExitStatus status = ExitStatus::within_limits;
  railtap::command::add_analyze(app, status);
  railtap::command::add_tones(app, status);
  railtap::command::add_target(app, status);
  railtap::command::add_attenuator(app, status);
  railtap::command::add_calibrate(app, status);
  railtap::command::add_demo(app, status);
  railtap::command::add_walk(app, status);
  railtap::command::add_loopback(app, status);
  railtap::command::add_devices(app, status);
  railtap::command::add_capture(app, status);
  railtap::command::add_onset(app, status);
  railtap::command::add_watch(app, status);
  railtap::command::add_system(app, status);
  railtap::command::add_plan(app, status);
  railtap::command::add_record(app, status);
  railtap::command::add_verify(app, status);
  railtap::command::add_sheet(app, status);
  railtap::command::add_reference(app, status);
  check_command_name(app, argc, argv);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    if (error.get_exit_code() == 0) return app.exit(error);  // --help, --version
    throw mistake(app, error);
  }
  if (!std::cout.flush()) {
    throw railtap::Error("the results could not be written", "standard output",
                         "check the disk or the pipe that it goes to");
  }
  return static_cast<int>(status);
}

constexpr char no_memory[] =
    "railtap: there is not enough memory for this; close other programs and try again\n";

/// The JSON library's destructor needs memory; without it, no handler of main's is reached.
[[noreturn]] void end_at_once() {
  try {
    std::rethrow_exception(std::current_exception());
  } catch (const std::bad_alloc&) {
    std::cerr << no_memory;
    std::_Exit(static_cast<int>(ExitStatus::could_not));
  } catch (...) {
    std::abort();
  }
}

}  // namespace

int main(int argc, char** argv) {
  std::set_terminate(end_at_once);
  railtap::files::watch_for_interrupt();
  try {
    return parse_and_run(argc, argv);
  } catch (const railtap::Interrupted&) {
    std::cerr << "railtap: interrupted; nothing half-written was left behind\n";
    return static_cast<int>(ExitStatus::interrupted);
  } catch (const std::bad_alloc&) {
    std::cerr << no_memory;
    return static_cast<int>(ExitStatus::could_not);
  } catch (const std::exception& error) {
    std::cerr << "railtap: " << error.what() << '\n';
    return static_cast<int>(ExitStatus::could_not);
  }
}
