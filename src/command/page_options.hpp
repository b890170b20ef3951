// SPDX-License-Identifier: MIT
// The options of commands that serve a page, and how its address is told.
#pragma once

#include <memory>

#include "command/command.hpp"
#include "page/server.hpp"

namespace railtap::command {

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

}  // namespace railtap::command
