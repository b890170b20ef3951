// SPDX-License-Identifier: MIT
// The options of a page.
#include "command/page_options.hpp"

#include <unistd.h>

#include <cstdlib>
#include <iostream>

#include "live/page_notice.hpp"
#include "units/error.hpp"

namespace railtap::command {
namespace {

constexpr int first_port = 1024, last_port = 65535;  // below are the system's own [RFC 6335, 6]

}  // namespace

void add_page_options(Command& command, PageOptions& options) {
  command.flag("--page", options.page, "Serve a page with figures and keys, to this computer only");
  command
      .flag("--lan", options.request.lan,
            "Serve it to a phone in the same network; a QR code shows the address")
      .needs("--page");
  command.number("--port", options.request.port, "Port of the page").called("N").needs("--page");
}

std::shared_ptr<page::Server> open_page(const PageOptions& options) {
  if (!options.page) return nullptr;
  const auto port = options.request.port;
  if (port && (*port < first_port || *port > last_port)) {
    throw Error(std::to_string(*port) + " is no port that a program may use", "--port",
                "give one from 1024 to 65535, or leave it out");
  }
  return std::make_shared<page::Server>(options.request);
}

void tell_address(const page::Server& server, bool ascii) {
  const bool colour = std::getenv("NO_COLOR") == nullptr && isatty(STDERR_FILENO) != 0;
  const live::PageNotice notice{server.address(), server.short_address(), server.lan()};
  live::print(
      notice,
      ascii ? live::CodeInk::none : (colour ? live::CodeInk::colours : live::CodeInk::light),
      std::cerr);
}

}  // namespace railtap::command
