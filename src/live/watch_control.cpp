// SPDX-License-Identifier: MIT
// The keys of a watch.
#include "live/watch_control.hpp"

#include "files/atomic_file.hpp"
#include "live/watch_loop.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::live {
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

void WatchControl::press(const Key& key) {
  if (view_.prompt) {
    type(key);
  } else if (job_.knobs && job_.knobs->turn(key)) {
    return;
  } else if (key.kind == Key::Kind::character) {
    command(key.character);
  }
}

void WatchControl::answer(const std::string& text) {
  if (!view_.prompt) return;
  typed_.clear();
  for (const char c : text) type({Key::Kind::character, static_cast<unsigned char>(c)});
  type({Key::Kind::enter, 0});
}

void WatchControl::command(char32_t character) {
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

void WatchControl::show_prompt() {
  view_.prompt = (view_.volts_per_full_scale ? "target in volts, for example 14.14V: "
                                             : "target in dBFS, for example -12dBFS: ") +
                 typed_;
}

void WatchControl::type(const Key& key) {
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
      if (key.character >= U' ' && key.character < U'\x7F' && typed_.size() < longest_typed)
        typed_.push_back(static_cast<char>(key.character));
      break;
    default:
      break;
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

}  // namespace railtap::live
