// SPDX-License-Identifier: MIT
// The loop of the watch screen: samples in, keys in, drawing out, and the page beside it.
#include <chrono>

#include "files/interrupt.hpp"
#include "live/page_notice.hpp"
#include "live/watch_control.hpp"
#include "live/watch_loop.hpp"
#include "live/watch_page.hpp"
#include "live/watch_screen.hpp"

namespace railtap::live {
namespace {

using Clock = std::chrono::steady_clock;

// More changes a second than this cannot be read.
constexpr std::chrono::milliseconds between_drawings{30};
constexpr Seconds wait_for_samples{0.01};

class ScreenWatch {
 public:
  explicit ScreenWatch(WatchJob job)
      : job_(std::move(job)),
        terminal_(job_.colour, job_.ascii),
        stream_(job_),
        control_(job_, stream_),
        page_(job_.page.get()),
        notice_(job_.page != nullptr),
        wait_for_viewer_(notice_) {}

  bool run() {
    while (!control_.quit() && !files::interrupted()) {
      // The last reading stays on the screen, unless it was to last so long and no longer.
      if (stream_.ended() && job_.length) break;
      const auto most = static_cast<std::int64_t>(stream_.rate());
      note_change(stream_.advance(most, wait_for_samples));
      while (const auto key = terminal_.key()) take_key(*key);
      note_change(page_.take_presses(control_));
      greet_viewer();
      draw_now_and_then();
    }
    if (!control_.view().held) control_.refresh();
    return within_limits(control_.view());
  }

 private:
  // The first page that is opened needs the address no more.
  void greet_viewer() {
    if (!wait_for_viewer_ || job_.page->viewers() == 0) return;
    wait_for_viewer_ = notice_ = false;
    note_change(true);
  }

  void note_change(bool changed) {
    draw_due_ = draw_due_ || changed;
    page_due_ = page_due_ || changed;
  }

  void draw_now_and_then() {
    const auto now = Clock::now();
    note_change(control_.forget_message());
    note_change(stream_.ended() && !control_.view().ended);
    if (page_due_ && page_.is_due()) {
      page_due_ = false;
      control_.refresh();
      page_.show(control_.view(), job_.knobs.has_value());
    }
    if (!draw_due_ || now - drawn_ < between_drawings) return;
    drawn_ = now;
    draw_due_ = false;
    control_.refresh();
    stream_.sound(control_.view());
    Canvas canvas = terminal_.canvas();
    draw_on(canvas);
    terminal_.show(canvas);
  }

  void draw_on(Canvas& canvas) {
    if (notice_) {
      const page::Server& page = *job_.page;
      draw(PageNotice{page.address(), page.short_address(), page.lan()}, terminal_.glyphs(),
           canvas);
    } else {
      draw(control_.view(), terminal_.glyphs(), canvas);
    }
  }

  // How the page is reached is shown first, and again with the p key.
  void take_key(const Key& key) {
    note_change(true);
    const bool p = key.kind == Key::Kind::character && key.character == U'p';
    if (key.kind == Key::Kind::resized) {
      return;
    } else if (notice_) {
      wait_for_viewer_ = notice_ = false;
      if (key.kind == Key::Kind::character && key.character == U'q') control_.press(key);
    } else if (p && job_.page && !control_.view().prompt) {
      notice_ = true;
    } else {
      control_.press(key);
    }
  }

  WatchJob job_;
  Terminal terminal_;
  Stream stream_;
  WatchControl control_;
  WatchPage page_;
  Clock::time_point drawn_{};
  bool notice_, wait_for_viewer_;
  bool draw_due_ = true;
  bool page_due_ = true;
};

}  // namespace

bool watch_on_screen(WatchJob job) {
  return ScreenWatch(std::move(job)).run();
}

}  // namespace railtap::live
