// SPDX-License-Identifier: MIT
// The loop of the watch screen: samples in, keys in, drawing out.
#include <chrono>
#include <filesystem>

#include "files/atomic_file.hpp"
#include "files/interrupt.hpp"
#include "live/watch_loop.hpp"
#include "live/watch_screen.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::live {
namespace {

using Clock = std::chrono::steady_clock;

// More changes a second than this cannot be read.
constexpr std::chrono::milliseconds between_drawings{30};
constexpr std::chrono::seconds message_time{4};
constexpr Seconds wait_for_samples{0.01};

class ScreenWatch {
 public:
  explicit ScreenWatch(WatchJob job)
      : job_(std::move(job)),
        terminal_(job_.colour, job_.ascii),
        stream_(job_),
        view_(view_of(job_)) {}

  bool run() {
    while (!quit_ && !files::interrupted()) {
      // The last reading stays on the screen, unless it was to last so long and no longer.
      if (stream_.ended() && job_.length) break;
      const auto most = static_cast<std::int64_t>(stream_.rate());
      changed_ = stream_.advance(most, wait_for_samples) || changed_;
      while (const auto key = terminal_.key()) take_key(*key);
      draw_now_and_then();
    }
    if (!view_.held) stream_.fill(view_);
    return within_limits(view_);
  }

 private:
  void draw_now_and_then() {
    const auto now = Clock::now();
    if (!view_.message.empty() && now - message_since_ > message_time) {
      view_.message.clear();
      changed_ = true;
    }
    const bool just_ended = stream_.ended() && !view_.ended;
    if ((!changed_ && !just_ended) || now - drawn_ < between_drawings) return;
    drawn_ = now;
    changed_ = false;
    refresh_view();
    stream_.sound(view_);
    if (job_.knobs) view_.knobs = job_.knobs->text();
    Canvas canvas = terminal_.canvas();
    draw(view_, terminal_.glyphs(), canvas);
    terminal_.show(canvas);
  }

  void refresh_view() {
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

  void say(std::string message) {
    view_.message = std::move(message);
    message_since_ = Clock::now();
  }

  void take_key(const Key& key) {
    changed_ = true;
    if (view_.prompt) {
      type(key);
    } else if (job_.knobs && job_.knobs->turn(key)) {
      return;
    } else if (key.kind == Key::Kind::character) {
      command(key.character);
    }
  }

  void command(char32_t character) {
    switch (character) {
      case U'q':
        quit_ = true;
        return;
      case U'h':
        view_.held = !view_.held;
        return;
      case U'r':
        stream_.reset();
        say("highest clean reading and history start anew");
        return;
      case U't':
        typed_.clear();
        show_prompt();
        return;
      case U'n':
        if (!view_.readings.empty()) view_.focus = (view_.focus + 1) % view_.readings.size();
        return;
      case U's':
        save();
        return;
      default:
        return;
    }
  }

  void show_prompt() {
    view_.prompt = (view_.volts_per_full_scale ? "target in volts, for example 14.14V: "
                                               : "target in dBFS, for example -12dBFS: ") +
                   typed_;
  }

  void type(const Key& key) {
    switch (key.kind) {
      case Key::Kind::enter:
        view_.prompt.reset();
        set_target();
        return;
      case Key::Kind::escape:
        view_.prompt.reset();
        return;
      case Key::Kind::erase:
        if (!typed_.empty()) typed_.pop_back();
        break;
      case Key::Kind::character:
        if (key.character >= U' ' && key.character < U'\x7F')
          typed_.push_back(static_cast<char>(key.character));
        break;
      default:
        break;
    }
    show_prompt();
  }

  void set_target() {
    if (typed_.empty()) {
      view_.target.reset();
      say("no target");
      return;
    }
    try {
      const auto volts = view_.volts_per_full_scale;
      const Dbfs level =
          volts ? level_of(require_positive(parse_quantity<Volts>(typed_, "target"), "target"),
                           *volts)
                : parse_quantity<Dbfs>(typed_, "target");
      view_.target = WatchTarget{level, job_.tolerance};
      say("the target is " + level_text(level, volts));
    } catch (const Error& error) {
      say(error.what());
    }
  }

  void save() {
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

  WatchJob job_;
  Terminal terminal_;
  Stream stream_;
  WatchView view_;
  std::string typed_;
  Clock::time_point drawn_{}, message_since_{};
  bool changed_ = true;
  bool quit_ = false;
};

}  // namespace

bool watch_on_screen(WatchJob job) {
  return ScreenWatch(std::move(job)).run();
}

}  // namespace railtap::live
