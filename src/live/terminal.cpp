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

#define NCURSES_NOMACROS 1
#define NCURSES_WIDECHAR 1
#include <curses.h>

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

enum Pair : short { pair_good = 1, pair_caution, pair_alarm, pair_heading, pair_paper };

void prepare_colours() {
  start_color();
  use_default_colors();
  init_pair(pair_good, COLOR_GREEN, -1);
  init_pair(pair_caution, COLOR_YELLOW, -1);
  init_pair(pair_alarm, COLOR_WHITE, COLOR_RED);
  init_pair(pair_heading, COLOR_WHITE, COLOR_BLUE);
  constexpr short bright_white = 15;
  init_pair(pair_paper, COLOR_BLACK, COLORS > bright_white ? bright_white : COLOR_WHITE);
}

struct Look {
  attr_t attributes = A_NORMAL;
  short pair = 0;
};

Look look_of(Style style, bool colour) {
  switch (style) {
    case Style::plain:
      return {};
    case Style::faint:
      return {A_DIM, 0};
    case Style::strong:
      return {A_BOLD, 0};
    case Style::good:
      return colour ? Look{A_BOLD, pair_good} : Look{A_BOLD, 0};
    case Style::caution:
      return colour ? Look{A_BOLD, pair_caution} : Look{A_BOLD | A_UNDERLINE, 0};
    case Style::alarm:
      return colour ? Look{A_BOLD, pair_alarm} : Look{A_BOLD | A_REVERSE, 0};
    case Style::heading:
      return colour ? Look{A_BOLD, pair_heading} : Look{A_REVERSE, 0};
    case Style::paper:
      return colour ? Look{A_NORMAL, pair_paper} : Look{A_REVERSE, 0};
  }
  return {};
}

// A block in the alarm's colours would be white on red, hardly seen as red from afar.
Look look_of_block(Look look) {
  if (look.pair == pair_alarm) look.attributes |= A_REVERSE;
  return look;
}

bool is_block(char32_t glyph) {
  return glyph >= U'\u2581' && glyph <= U'\u2588';
}

// Keys come from the terminal even where standard input is a recording.
FILE* open_keyboard() {
  if (isatty(STDIN_FILENO) != 0) return stdin;
  return std::fopen("/dev/tty", "re");
}

Key key_of(int status, wint_t code) {
  using Kind = Key::Kind;
  if (status == KEY_CODE_YES) {
    switch (code) {
      case KEY_UP:
        return {Kind::up, 0};
      case KEY_DOWN:
        return {Kind::down, 0};
      case KEY_LEFT:
        return {Kind::left, 0};
      case KEY_RIGHT:
        return {Kind::right, 0};
      case KEY_BACKSPACE:
      case KEY_DC:
        return {Kind::erase, 0};
      case KEY_ENTER:
        return {Kind::enter, 0};
      case KEY_RESIZE:
        return {Kind::resized, 0};
      default:
        return {Kind::character, 0};
    }
  }
  constexpr wint_t escape = 27, backspace = 8, erase = 127;
  if (code == L'\n' || code == L'\r') return {Kind::enter, 0};
  if (code == escape) return {Kind::escape, 0};
  if (code == L'\t') return {Kind::tab, 0};
  if (code == backspace || code == erase) return {Kind::erase, 0};
  return {Kind::character, static_cast<char32_t>(code)};
}

}  // namespace

Terminal::Terminal(bool colour, bool ascii) : colour_(colour) {
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
  colour_ = colour && has_colors();
  if (colour_) prepare_colours();
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

Canvas Terminal::canvas() const {
  int rows = 0;
  int columns = 0;
  getmaxyx(stdscr, rows, columns);
  return {rows, columns};
}

void Terminal::show(const Canvas& canvas) {
  for (int row = 0; row < canvas.rows(); ++row) {
    for (int column = 0; column < canvas.columns(); ++column) {
      const Cell& cell = canvas.at(row, column);
      Look look = look_of(cell.style, colour_);
      if (is_block(cell.glyph)) look = look_of_block(look);
      const wchar_t text[2] = {static_cast<wchar_t>(cell.glyph), L'\0'};
      cchar_t character;
      setcchar(&character, text, look.attributes, look.pair, nullptr);
      mvadd_wch(row, column, &character);
    }
  }
  refresh();
}

std::optional<Key> Terminal::key() {
  wint_t code = 0;
  const int status = get_wch(&code);
  if (status == ERR) return std::nullopt;
  return key_of(status, code);
}

}  // namespace railtap::live
