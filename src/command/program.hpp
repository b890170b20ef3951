// SPDX-License-Identifier: MIT
// The program: the table of its commands, and what is made of it.
#pragma once

#include <iosfwd>
#include <string>
#include <vector>

#include "command/command.hpp"

namespace railtap::command {

/// What is called from a shell.
struct Program {
  std::string name, help, version;
  std::vector<Command> commands;  ///< in the order in which they are shown
};

/// Does what a command line asks for: runs a command, or prints a help screen or the version.
/// \param words what was typed behind the program's name
/// \throws Error where the command line is wrong, or what the command throws
[[nodiscard]] ExitStatus run(const Program& program, std::vector<std::string> words);

/// `reference`: prints the manual page, or a shell's completion, of `program`, which outlives it.
[[nodiscard]] Command reference_command(const Program& program);

/// Writes the manual page, section 1, as roff for man(7).
void write_manual_page(std::ostream& out, const Program& program);

/// Writes the completion script of `shell`: "bash", "zsh" or "fish"; anything else throws Error.
void write_completion(std::ostream& out, const Program& program, const std::string& shell);

}  // namespace railtap::command
