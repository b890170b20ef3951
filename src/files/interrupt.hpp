// SPDX-License-Identifier: MIT
// Ctrl-C as a flag that loops check, so that unfinished files are removed before the program ends.
#pragma once

namespace railtap::files {

/// From now on SIGINT and SIGTERM are noted instead of ending the process; a second one ends it at
/// once. Called once, at the start of main.
void watch_for_interrupt();

/// Whether the person has asked to stop.
[[nodiscard]] bool interrupted();

/// Throws Interrupted if so. Called once a block by everything that takes long.
void throw_if_interrupted();

}  // namespace railtap::files
