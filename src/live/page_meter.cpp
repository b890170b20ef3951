// SPDX-License-Identifier: MIT
// The thread that listens for a page.
#include "live/page_meter.hpp"

#include <exception>

#include "live/watch_loop.hpp"
#include "live/watch_page.hpp"

namespace railtap::live {

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
