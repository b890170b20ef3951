// SPDX-License-Identifier: MIT
// What every command offers to main.cpp: a function that puts it on the command line.
#pragma once

namespace CLI {
class App;
}

namespace railtap::command {

/// The process's exit status (contract): 130 when interrupted.
enum class ExitStatus : int {
  within_limits = 0,
  outside_limits = 1,
  could_not = 2,
  interrupted = 130
};

/// Each adds one subcommand to `app`. When the person names it, it runs and leaves its outcome in
/// `status`, which outlives `app`. It throws Error where it could not do its work.
void add_analyze(CLI::App& app, ExitStatus& status);
void add_attenuator(CLI::App& app, ExitStatus& status);
void add_calibrate(CLI::App& app, ExitStatus& status);
void add_tones(CLI::App& app, ExitStatus& status);
void add_capture(CLI::App& app, ExitStatus& status);
void add_walk(CLI::App& app, ExitStatus& status);
void add_loopback(CLI::App& app, ExitStatus& status);
void add_devices(CLI::App& app, ExitStatus& status);
void add_sheet(CLI::App& app, ExitStatus& status);
void add_target(CLI::App& app, ExitStatus& status);
void add_demo(CLI::App& app, ExitStatus& status);
void add_onset(CLI::App& app, ExitStatus& status);
void add_watch(CLI::App& app, ExitStatus& status);
void add_system(CLI::App& app, ExitStatus& status);
void add_plan(CLI::App& app, ExitStatus& status);
void add_record(CLI::App& app, ExitStatus& status);
void add_reference(CLI::App& app, ExitStatus& status);
void add_verify(CLI::App& app, ExitStatus& status);

}  // namespace railtap::command
