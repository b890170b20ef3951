// SPDX-License-Identifier: MIT
// The command table, and the one place where errors become words and an exit status.
#include <algorithm>
#include <cstdlib>
#include <exception>
#include <iostream>
#include <iterator>
#include <new>
#include <string>

#include "command/program.hpp"
#include "files/atomic_file.hpp"
#include "files/visible_output.hpp"
#include "units/error.hpp"
#include "units/visible.hpp"

namespace {

using railtap::command::ExitStatus;

/// The commands, in the order in which they are shown.
void fill(railtap::command::Program& program, const std::string& called) {
  using namespace railtap::command;
  Command commands[] = {analyze_command(),    tones_command(),     target_command(),
                        attenuator_command(), calibrate_command(), demo_command(called),
                        walk_command(called), loopback_command(),  devices_command(),
                        capture_command(),    onset_command(),     watch_command(),
                        system_command(),     plan_command(),      record_command(),
                        verify_command(),     sheet_command(),     reference_command(program)};
  // A list in braces would be copied, which takes memory some thousand times.
  program.commands.assign(std::make_move_iterator(std::begin(commands)),
                          std::make_move_iterator(std::end(commands)));
}

int run(int argc, char** argv) {
  railtap::command::Program program{"railtap",
                                    "railtap sets the gain stages of a car stereo by measurement.",
                                    RAILTAP_VERSION,
                                    {}};
  fill(program, argc > 0 ? argv[0] : program.name);
  const ExitStatus status = railtap::command::run(program, {argv + std::min(argc, 1), argv + argc});
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
  const railtap::files::VisibleOutput results(std::cout), remarks(std::cerr);
  try {
    return run(argc, argv);
  } catch (const railtap::Interrupted&) {
    std::cerr << "railtap: interrupted; nothing half-written was left behind\n";
    return static_cast<int>(ExitStatus::interrupted);
  } catch (const std::bad_alloc&) {
    std::cerr << no_memory;
    return static_cast<int>(ExitStatus::could_not);
  } catch (const std::exception& error) {
    std::cerr << "railtap: " << railtap::visible(error.what()) << '\n';
    return static_cast<int>(ExitStatus::could_not);
  }
}
