// SPDX-License-Identifier: MIT
// What `verify` offers to main.cpp.
#pragma once

#include "command/command.hpp"

namespace railtap::command {

/// As those of command.hpp.
void add_verify(CLI::App& app, ExitStatus& status);

}  // namespace railtap::command
