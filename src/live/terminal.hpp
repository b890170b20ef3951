// SPDX-License-Identifier: MIT
// The whole terminal as a screen, through ncurses, and left as it was whatever happens.
#pragma once

#include <optional>

#include "live/canvas.hpp"
#include "live/watch_screen.hpp"

namespace railtap::live {

/// A key that was pressed: a byte of what was typed, or one of ncurses' KEY_UP, KEY_RESIZE, ….
using Key = int;
// In ASCII; ncurses has no names for them.
inline constexpr Key escape_key = 27, delete_key = 127;

/// Takes the terminal over; one at a time. ncurses (Debian: libncurses-dev) because it is the
/// library that knows terminals: it sends what changed only, follows a change of size, and has been
/// on every system for decades.
///
/// The terminal is put back by the destructor, and by a signal handler when a signal ends the
/// process (Ctrl-C twice, a crash, a hang-up), from text that was got from terminfo beforehand.
class Terminal {
 public:
  /// \param colour false: attributes only
  /// \param ascii  true: characters of ASCII only, also where the terminal could do more
  /// \throws Error where there is no terminal, or one of an unknown kind
  Terminal(bool colour, bool ascii);
  ~Terminal();
  Terminal(const Terminal&) = delete;
  Terminal& operator=(const Terminal&) = delete;

  [[nodiscard]] const Glyphs& glyphs() const { return glyphs_; }

  /// What is drawn on, of the terminal's present size, with nothing on it.
  [[nodiscard]] WINDOW* blank();
  /// Sends what changed to the terminal.
  void show();

  /// The next key that was pressed; none when none is waiting.
  [[nodiscard]] std::optional<Key> key();

 private:
  Glyphs glyphs_;
};

}  // namespace railtap::live
