// SPDX-License-Identifier: MIT
// The terminal through ncurses.
#include "live/terminal.hpp"

#include <langinfo.h>
#include <unistd.h>

#include <clocale>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <string_view>

#include "live/terminal_guard.hpp"
#include "units/error.hpp"

namespace railtap::live {
namespace {

bool terminal_is_utf8() {
  return std::string_view(nl_langinfo(CODESET)) == "UTF-8";
}

Glyphs glyphs_for_terminal(bool ascii) {
  const char* kind = std::getenv("TERM");
  // The kernel's console has fonts of 256 or 512 characters: blocks, but no braille.
  const bool console = kind != nullptr && std::string_view(kind) == "linux";
  const bool rich = !ascii && terminal_is_utf8();
  return {rich, rich && !console};
}

// Keys come from the terminal even where standard input is a recording.
FILE* open_keyboard() {
  if (isatty(STDIN_FILENO) != 0) return stdin;
  return std::fopen("/dev/tty", "re");
}

}  // namespace

Terminal::Terminal(bool colour, bool ascii) {
  std::setlocale(LC_CTYPE, "");
  glyphs_ = glyphs_for_terminal(ascii);
  FILE* keyboard = open_keyboard();
  if (keyboard == nullptr || isatty(STDOUT_FILENO) == 0) {
    throw Error("there is no terminal to draw on", "watch",
                "use --plain for a line per update, or --json");
  }
  remember_terminal();
  if (newterm(nullptr, stdout, keyboard) == nullptr) {
    const char* kind = std::getenv("TERM");
    throw Error(std::string("the terminal's kind, ") + (kind != nullptr ? kind : "not set") +
                    ", is not known",
                "TERM", "set it to the right one, or use --plain");
  }
  guard_terminal();
  if (colour && has_colors()) prepare_colours();
  cbreak();
  noecho();
  nonl();
  curs_set(0);
  keypad(stdscr, TRUE);
  nodelay(stdscr, TRUE);
  // A lone Escape is distinguished from the start of a key's sequence by the time until the next
  // byte.
  constexpr int escape_ms = 25;
  set_escdelay(escape_ms);
}

Terminal::~Terminal() {
  endwin();
  unguard_terminal();
}

WINDOW* Terminal::blank() {
  werase(stdscr);
  return stdscr;
}

void Terminal::show() {
  wrefresh(stdscr);
}

std::optional<Key> Terminal::key() {
  const int key = wgetch(stdscr);
  return key == ERR ? std::nullopt : std::optional<Key>(key);
}

}  // namespace railtap::live
