// SPDX-License-Identifier: MIT
// Live figures on a page that shows something else besides, such as a walk's question; and how a
// page is reached: its address, and in a network the code that a phone reads.
#include "live/page_meter.hpp"

#include <exception>
#include <ostream>

#include "files/visible_output.hpp"
#include "live/watch_loop.hpp"
#include "live/watch_page.hpp"
#include "page/address.hpp"

namespace railtap::live {

// The address of a page, drawn and printed.

namespace {

constexpr const char* warning =
    "Anyone in this network who has the address can see and press everything.";
constexpr const char* not_secret = "The connection is not encrypted.";
constexpr const char* back = "p or any other key: back to the figures";

// \returns the row behind it; where the code does not fit, nothing is drawn
int draw_code(const Area& area, int row, const std::string& address) {
  const auto modules = page::qr_modules(address);
  const int rows = (static_cast<int>(modules.size()) + 1) / 2;
  if (row + rows > area.rows() || static_cast<int>(modules.size()) > area.columns()) return row;
  for (int line = 0; line < rows; ++line) {
    const std::size_t upper = 2 * static_cast<std::size_t>(line);
    for (std::size_t column = 0; column < modules.size(); ++column) {
      const bool lower = upper + 1 < modules.size() && modules[upper + 1][column];
      area.put(row + line, static_cast<int>(column),
               page::half_block(modules[upper][column], lower), Style::paper);
    }
  }
  return row + rows;
}

}  // namespace

void draw(const PageNotice& notice, const Glyphs& glyphs, WINDOW* window) {
  const Area area(window);
  int row = 0;
  area.write(row++, 0, notice.lan ? notice.address : notice.short_address, Style::strong);
  if (notice.lan) area.write(row++, 0, std::string(warning), Style::caution);
  if (glyphs.blocks && notice.lan) row = draw_code(area, row, notice.address);
  if (row < area.rows()) area.write(row, 0, back, Style::faint);
}

void print(const PageNotice& notice, CodeInk ink, std::ostream& out) {
  out << "page: " << (notice.lan ? notice.address : notice.short_address) << "\n";
  if (notice.lan && ink != CodeInk::none)
    out << files::AsItIs{page::qr_text(notice.address, ink == CodeInk::colours)};
  if (notice.lan) out << warning << " " << not_secret << "\n";
  out << std::flush;
}

// The thread that listens for a page.

PageMeter::PageMeter(std::function<WatchJob()> open, page::Server& server, page::PageState around)
    : open_(std::move(open)),
      server_(server),
      around_(std::move(around)),
      thread_([this] { run(); }) {}

PageMeter::~PageMeter() {
  over_ = true;
  thread_.join();
}

void PageMeter::run() {
  try {
    listen();
  } catch (const std::exception& error) {
    around_.message = error.what();
    around_.still = true;
    if (!over_) server_.publish(around_);
  }
}

void PageMeter::listen() {
  constexpr Seconds patience{0.01};
  WatchJob job = open_();
  Stream stream(job);
  WatchView view = view_of(job);
  WatchPage due(&server_);
  const auto most = static_cast<std::int64_t>(stream.rate());
  around_.still = false;
  bool changed = false;
  while (!over_ && !stream.ended()) {
    changed = stream.advance(most, patience) || changed;
    if (!changed || !due.is_due()) continue;
    changed = false;
    stream.fill(view);
    page::PageState state = page_state(view, false);
    state.title = around_.title;
    state.instructions = around_.instructions;
    state.question = around_.question;
    state.buttons = around_.buttons;
    state.message = around_.message;
    state.step = around_.step;
    due.publish(state);
  }
}

}  // namespace railtap::live
