// SPDX-License-Identifier: MIT
// The command table in the forms that man and the shells read. Nothing is said twice: all of it
// comes from what the commands declared.
#pragma once

#include <iosfwd>
#include <string>

namespace CLI {
class App;
}

namespace railtap::command {

/// Writes the manual page, section 1, as roff for man(7).
void write_manual_page(std::ostream& out, const CLI::App& app);

/// Writes the completion script of `shell`: "bash", "zsh" or "fish"; anything else throws Error.
void write_completion(std::ostream& out, const CLI::App& app, const std::string& shell);

}  // namespace railtap::command
