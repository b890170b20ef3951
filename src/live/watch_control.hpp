// SPDX-License-Identifier: MIT
// What the keys of a watch do, wherever they are pressed.
#pragma once

#include <chrono>
#include <filesystem>
#include <optional>
#include <string>

#include "live/watch.hpp"

namespace railtap::live {

class Stream;

/// A watch's view, and the keys that change it: h hold, r reset, t target, n next channel, s save,
/// q quit; the knobs' own; and what is typed while a question is open.
class WatchControl {
 public:
  /// \param job and \param stream outlive it
  WatchControl(const WatchJob& job, Stream& stream);

  [[nodiscard]] const WatchView& view() const { return view_; }
  [[nodiscard]] bool quit() const { return quit_; }

  void press(Key key);
  /// Answers the open question as if it had been typed; without one, does nothing.
  void answer(const std::string& text);

  /// Takes the present readings, unless they are held.
  void refresh();
  /// Takes the message away when it was there long enough. \returns whether it did
  bool forget_message();

 private:
  void command(Key key);
  void show_prompt();
  void type(Key key);
  void set_target();
  void save();
  void say(std::string message);

  const WatchJob& job_;
  Stream& stream_;
  WatchView view_;
  std::string typed_;
  std::chrono::steady_clock::time_point message_since_{};
  bool quit_ = false;
};

}  // namespace railtap::live
