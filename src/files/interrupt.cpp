// SPDX-License-Identifier: MIT
// Ctrl-C as a flag.
#include "files/interrupt.hpp"

#include <atomic>
#include <csignal>

#include "units/error.hpp"

namespace railtap::files {
namespace {

// A signal handler can reach nothing but a global; this is the only one.
std::atomic<bool> stop_requested{false};
static_assert(std::atomic<bool>::is_always_lock_free,
              "a signal handler may touch only lock-free atomics");

extern "C" void note_interrupt(int signal_number) {
  stop_requested.store(true);
  std::signal(signal_number, SIG_DFL);
}

}  // namespace

void watch_for_interrupt() {
  std::signal(SIGINT, note_interrupt);
  std::signal(SIGTERM, note_interrupt);
  // A file at its size limit is to be an error from write(), not the end of the process.
  std::signal(SIGXFSZ, SIG_IGN);
}

bool interrupted() {
  return stop_requested.load();
}

void throw_if_interrupted() {
  if (interrupted()) throw Interrupted();
}

}  // namespace railtap::files
