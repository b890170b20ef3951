// SPDX-License-Identifier: MIT
// How the terminal is put back, prepared beforehand because a signal handler may not call ncurses.
#include "live/terminal_guard.hpp"

#include <termios.h>
#include <unistd.h>

#include <array>
#include <csignal>
#include <cstdint>

#define NCURSES_NOMACROS 1
#include <curses.h>
#include <term.h>

#include "files/atomic_file.hpp"

namespace railtap::live {
namespace {

// What a signal handler needs to put the terminal back: it can call neither ncurses nor anything
// else that allocates, and can be handed nothing, so this is global.
struct Restoration {
  bool armed = false;
  int descriptor = -1;
  termios settings{};
  std::array<char, 256> text{};
  std::size_t length = 0;
};
Restoration restoration;

constexpr std::array fatal_signals{SIGSEGV, SIGBUS, SIGFPE, SIGILL, SIGABRT, SIGHUP, SIGQUIT};
constexpr std::array stop_signals{SIGINT, SIGTERM};
std::array<void (*)(int), stop_signals.size()> noted_before{};

// write, tcsetattr, signal and raise are safe in a handler [POSIX.1-2017, 2.4.3].
void restore_terminal() {
  if (!restoration.armed) return;
  restoration.armed = false;
  [[maybe_unused]] const ssize_t written =
      write(restoration.descriptor, restoration.text.data(), restoration.length);
  tcsetattr(restoration.descriptor, TCSANOW, &restoration.settings);
}

extern "C" void end_by_signal(int number) {
  restore_terminal();
  std::signal(number, SIG_DFL);
  raise(number);
}

// The first one is noted by whoever had the signal before; the second ends the process.
extern "C" void stop_by_signal(int number) {
  if (files::interrupted()) end_by_signal(number);
  for (std::size_t i = 0; i < stop_signals.size(); ++i) {
    if (stop_signals[i] == number && noted_before[i] != nullptr) noted_before[i](number);
  }
  std::signal(number, stop_by_signal);
}

int append_restoration(int character) {
  if (restoration.length < restoration.text.size())
    restoration.text[restoration.length++] = static_cast<char>(character);
  return character;
}

void append_capability(const char* name) {
  const char* text = tigetstr(name);
  // A name that is no string capability gives the pointer -1 [curs_terminfo(3x)].
  const auto value = reinterpret_cast<std::intptr_t>(text);
  if (value != 0 && value != -1) tputs(text, 1, append_restoration);
}

// The sequences for: plain characters, cursor visible, keypad as usual, the other screen back.
}  // namespace

void guard_terminal() {
  restoration.length = 0;
  for (const char* name : {"sgr0", "cnorm", "rmkx", "rmcup"}) append_capability(name);
  restoration.armed = true;
  for (const int number : fatal_signals) std::signal(number, end_by_signal);
  for (std::size_t i = 0; i < stop_signals.size(); ++i) {
    auto* before = std::signal(stop_signals[i], stop_by_signal);
    noted_before[i] = before == SIG_DFL || before == SIG_IGN ? nullptr : before;
  }
}

void unguard_terminal() {
  restoration.armed = false;
  for (const int number : fatal_signals) std::signal(number, SIG_DFL);
  for (std::size_t i = 0; i < stop_signals.size(); ++i)
    std::signal(stop_signals[i], noted_before[i] != nullptr ? noted_before[i] : SIG_DFL);
}

void remember_terminal() {
  restoration.descriptor = STDOUT_FILENO;
  tcgetattr(restoration.descriptor, &restoration.settings);
}

}  // namespace railtap::live
