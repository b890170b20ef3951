// SPDX-License-Identifier: MIT
// A walk that is asked on a page and in the terminal at once: whichever answers first.
#pragma once

#include <iosfwd>
#include <memory>

#include "command/asker.hpp"
#include "live/watch.hpp"
#include "page/page_state.hpp"
#include "page/server.hpp"

namespace railtap::command {

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
