// SPDX-License-Identifier: MIT
// What the keys of a watch are, and what they do, wherever they are pressed.
#include "live/watch_control.hpp"

#include <chrono>

#include "files/atomic_file.hpp"
#include "live/page_meter.hpp"
#include "live/watch_loop.hpp"
#include "live/watch_page.hpp"
#include "live/watch_screen.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::live {

// The keys of a watch.

namespace {

constexpr std::chrono::seconds message_time{4};
// A quantity is no longer than this; the rest is not taken.
constexpr std::size_t longest_typed = 100;

}  // namespace

WatchControl::WatchControl(const WatchJob& job, Stream& stream)
    : job_(job), stream_(stream), view_(view_of(job)) {}

void WatchControl::refresh() {
  if (job_.knobs) view_.knobs = job_.knobs->text();
  if (!view_.held) {
    stream_.fill(view_);
    return;
  }
  // Held readings do not change; what was lost meanwhile is still shown.
  WatchView now = view_;
  stream_.fill(now);
  view_.places_with_losses = now.places_with_losses;
  view_.ended = now.ended;
}

bool WatchControl::forget_message() {
  const auto age = std::chrono::steady_clock::now() - message_since_;
  if (view_.message.empty() || age <= message_time) return false;
  view_.message.clear();
  return true;
}

void WatchControl::say(std::string message) {
  view_.message = std::move(message);
  message_since_ = std::chrono::steady_clock::now();
}

void WatchControl::press(Key key) {
  if (view_.prompt) {
    type(key);
  } else if (job_.knobs && job_.knobs->turn(key)) {
    return;
  } else {
    command(key);
  }
}

void WatchControl::answer(const std::string& text) {
  if (!view_.prompt) return;
  typed_.clear();
  for (const char c : text) type(static_cast<unsigned char>(c));
  type(KEY_ENTER);
}

void WatchControl::command(Key key) {
  switch (key) {
    case 'q':
      quit_ = true;
      return;
    case 'h':
      view_.held = !view_.held;
      return;
    case 'r':
      stream_.reset();
      say("highest clean reading and history start anew");
      return;
    case 't':
      typed_.clear();
      show_prompt();
      return;
    case 'n':
      if (!view_.readings.empty()) view_.focus = (view_.focus + 1) % view_.readings.size();
      return;
    case 's':
      save();
      return;
    default:
      return;
  }
}

void WatchControl::show_prompt() {
  view_.prompt = (view_.volts_per_full_scale ? "target in volts, for example 14.14V: "
                                             : "target in dBFS, for example -12dBFS: ") +
                 typed_;
}

void WatchControl::type(Key key) {
  switch (key) {
    case '\n':
    case '\r':
    case KEY_ENTER:
      view_.prompt.reset();
      set_target();
      return;
    case escape_key:
      view_.prompt.reset();
      return;
    case '\b':
    case delete_key:
    case KEY_BACKSPACE:
    case KEY_DC:
      if (!typed_.empty()) typed_.pop_back();
      break;
    default:
      if (key >= ' ' && key < delete_key && typed_.size() < longest_typed)
        typed_.push_back(static_cast<char>(key));
  }
  show_prompt();
}

void WatchControl::set_target() {
  if (typed_.empty()) {
    view_.target.reset();
    say("no target");
    return;
  }
  try {
    const auto volts = view_.volts_per_full_scale;
    const Dbfs level =
        volts
            ? level_of(require_positive(parse_quantity<Volts>(typed_, "target"), "target"), *volts)
            : parse_quantity<Dbfs>(typed_, "target");
    view_.target = WatchTarget{level, job_.tolerance};
    say("the target is " + level_text(level, volts));
  } catch (const Error& error) {
    say(error.what());
  }
}

void WatchControl::save() {
  try {
    for (int number = 1;; ++number) {
      const auto path = job_.save_folder / ("reading-" + std::to_string(number) + ".json");
      if (std::filesystem::exists(path)) continue;
      files::write_file(path, json_line(view_) + "\n", files::Overwrite::refuse);
      say("saved " + path.filename().string());
      return;
    }
  } catch (const std::exception& error) {
    say(error.what());
  }
}

// The loop of the watch screen: samples in, keys in, drawing out, and the page beside it.

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
    draw_on(terminal_.blank());
    terminal_.show();
  }

  void draw_on(WINDOW* window) {
    if (notice_) {
      const page::Server& page = *job_.page;
      draw(PageNotice{page.address(), page.short_address(), page.lan()}, terminal_.glyphs(),
           window);
    } else {
      draw(control_.view(), terminal_.glyphs(), window);
    }
  }

  // How the page is reached is shown first, and again with the p key.
  void take_key(Key key) {
    note_change(true);
    if (key == KEY_RESIZE) {
      return;
    } else if (notice_) {
      wait_for_viewer_ = notice_ = false;
      if (key == 'q') control_.press(key);
    } else if (key == 'p' && job_.page && !control_.view().prompt) {
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
