// SPDX-License-Identifier: MIT
// Questions and answers in plain lines, for a terminal, a pipe and a screen reader alike.
#pragma once

#include <cstddef>
#include <iosfwd>
#include <string>
#include <vector>

#include "command/asker.hpp"

namespace railtap::command {

/// A screen has at most so many lines, the one for the answer included: what an old terminal shows.
inline constexpr std::size_t most_lines = 24;
/// And a line at most so many characters.
inline constexpr std::size_t most_columns = 78;

/// Talks on an output and reads answers from standard input. On a terminal, a screen that would be
/// longer than `most_lines`, or than the window, is shown in parts, with Enter from one to the
/// next; elsewhere the output is a transcript with the answers in it.
[[nodiscard]] Asker terminal_asker(std::ostream& out);

/// Text as lines of at most `columns` characters. A longer word is broken; control characters,
/// which a name in a file may hold, become U+FFFD.
[[nodiscard]] std::vector<std::string> broken_into_lines(const std::string& text,
                                                         std::size_t columns);

/// A name for a line of text: a long one is cut.
[[nodiscard]] std::string short_name(const std::string& name);

}  // namespace railtap::command
