// SPDX-License-Identifier: MIT
// Puts the terminal back when a signal ends the process.
#pragma once

namespace railtap::live {

/// Keeps the settings of the terminal on standard output, before anything changes them.
void remember_terminal();

/// From now on a signal that ends the process puts the terminal back first. The first SIGINT and
/// SIGTERM still go to whoever noted them before; the second ends the process. ncurses is to have
/// been started: the sequences come from terminfo.
void guard_terminal();

/// Signals are again what they were.
void unguard_terminal();

}  // namespace railtap::live
