// SPDX-License-Identifier: MIT
// The options of commands that serve a page, how its address is told, and a walk that is asked on
// the page and in the terminal at once.
#pragma once

#include <iosfwd>
#include <memory>

#include "command/command.hpp"
#include "command/dialog.hpp"
#include "live/watch.hpp"
#include "page/page_state.hpp"
#include "page/server.hpp"

namespace railtap::command {

// The options of commands that serve a page, and how its address is told.

/// What was given.
struct PageOptions {
  bool page = false;
  page::ServerRequest request;
};

/// Adds --page, --lan and --port. \param options outlives the command
void add_page_options(Command& command, PageOptions& options);

/// The server; null where none was asked for. \throws as page::Server
[[nodiscard]] std::shared_ptr<page::Server> open_page(const PageOptions& options);

/// On standard error: the address, and in a network the code and a warning. \param ascii no code
void tell_address(const page::Server& server, bool ascii);

// A walk that is asked on a page and in the terminal at once: whichever answers first.

/// Shows every screen in both places. What is answered on the page is written to `out` too. Where
/// standard input is no terminal and has ended, the page alone answers.
/// \param terminal as terminal_asker makes it \param server and \param out outlive the asker
/// \param listen opens the input for a screen that listens; may be empty
[[nodiscard]] Asker page_asker(Asker terminal, page::Server& server, std::ostream& out,
                               std::function<live::WatchJob()> listen);

/// A screen as the page shows it. Its button to quit is left out: a slip of the thumb would end the
/// program on a computer that may be out of reach.
/// \param step goes up with every screen
[[nodiscard]] page::PageState page_state(const Screen& screen, std::int64_t step);

}  // namespace railtap::command
