// SPDX-License-Identifier: MIT
// The watch screen as a drawing: every size, and every state that a reading can have.
#include "live/watch_screen.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <climits>
#include <clocale>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <numbers>
#include <string>

#include "live/canvas.hpp"

namespace {

using namespace railtap;
using judge::Verdict;
using live::ChannelReading;
using live::Glyphs;
using live::WatchView;

ChannelReading reading_of(int channel, Verdict verdict) {
  ChannelReading reading;
  reading.channel = channel;
  reading.level = Dbfs(-6.0);
  reading.steady = true;
  reading.findings.emplace();
  reading.findings->verdict = verdict;
  reading.findings->level = reading.level;
  reading.findings->frequency = Hertz(1000.0);
  reading.findings->thdn = Percent(0.05);
  for (int i = 0; i < 64; ++i) {
    const double phase = i / 64.0;
    reading.cycle.push_back({phase, std::sin(2.0 * std::numbers::pi * phase), 0.0, 0.0, 1});
  }
  reading.history.assign(120, {Dbfs(-6.0), verdict});
  return reading;
}

// A terminal that nobody looks at: ncurses makes no window without one.
class Unseen {
 public:
  Unseen(int rows, int columns) : nothing_(std::fopen("/dev/null", "r+")) {
    std::setlocale(LC_CTYPE, "C.UTF-8");
    screen_ = newterm("xterm", nothing_, nothing_);
    REQUIRE(screen_ != nullptr);
    resize_term(rows, columns);
    REQUIRE(getmaxy(stdscr) == rows);
    REQUIRE(getmaxx(stdscr) == columns);
  }
  ~Unseen() {
    endwin();
    delscreen(screen_);
    std::setlocale(LC_CTYPE, "C");
    std::fclose(nothing_);
  }
  Unseen(const Unseen&) = delete;
  Unseen& operator=(const Unseen&) = delete;

  // What stands there, without the blanks at the ends.
  std::string text() const {
    std::string all;
    for (int row = 0; row < getmaxy(stdscr); ++row) {
      // A column may hold marks besides its character.
      std::wstring wide(4 * static_cast<std::size_t>(getmaxx(stdscr)) + 1, L'\0');
      mvwinnwstr(stdscr, row, 0, wide.data(), static_cast<int>(wide.size()) - 1);
      std::string line(MB_LEN_MAX * wide.size(), '\0');
      line.resize(std::wcstombs(line.data(), wide.c_str(), line.size()));
      all += line.substr(0, line.find_last_not_of(' ') + 1) + "\n";
    }
    return all;
  }

 private:
  FILE* nothing_;
  SCREEN* screen_;
};

std::string drawn(const WatchView& view, int rows, int columns, const Glyphs& glyphs = {}) {
  const Unseen screen(rows, columns);
  draw(view, glyphs, stdscr);
  return screen.text();
}

bool contains(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

WatchView view_of(std::size_t channels, Verdict verdict = Verdict::clean) {
  WatchView view;
  view.source = "front.wav";
  view.volts_per_full_scale = Volts(40.0);
  for (std::size_t c = 1; c <= channels; ++c)
    view.readings.push_back(reading_of(static_cast<int>(c), verdict));
  return view;
}

TEST_CASE("watch screen: what is no UTF-8, and what no screen should get, is a question mark") {
  const auto shown = [](const char* bytes) {
    const Unseen screen(1, 20);
    live::Area(stdscr).write(0, 0, bytes, live::Style::plain);
    const std::string text = screen.text();
    return text.substr(0, text.size() - 1);
  };
  CHECK(shown("a µΩ → 𝄞 z") == "a µΩ → 𝄞 z");
  CHECK(shown("\xC3(") == "?(");     // no continuation
  CHECK(shown("\xE2\x86") == "??");  // cut short
  // One for each byte [Unicode 15, table 3-8].
  CHECK(shown("\xE0\x80\x80x") == "???x");       // longer than needed
  CHECK(shown("\xED\xA0\x80x") == "???x");       // a surrogate
  CHECK(shown("\xF4\x90\x80\x80x") == "????x");  // beyond Unicode
  CHECK(shown("\x1B[2J") == "?[2J");
  CHECK(shown("abc\u202Exyz") == "abc?xyz");  // would be read from the right
}

TEST_CASE("watch screen: what is two columns wide, or none, is cut off by its width") {
  const auto shown = [](const char* text) {
    const Unseen screen(2, 5);
    CHECK(live::Area(stdscr).write(0, 0, text, live::Style::plain) >= 0);
    return screen.text();
  };
  CHECK(shown("日本語") == "日本\n\n");
  CHECK(shown("a日本語") == "a日本\n\n");
  CHECK(shown("e\u0301tude") == "e\u0301tude\n\n");
  CHECK(shown("etudes") == "etude\n\n");
  const Unseen screen(1, 5);
  CHECK(live::Area(stdscr).write(0, 7, "behind", live::Style::plain) == 7);
  CHECK(live::Area(stdscr).part(3, 1).write(0, 0, "below", live::Style::plain) == 0);
  CHECK(screen.text() == "\n");
}

TEST_CASE("screen: every size from nothing to huge is drawn without touching what is outside") {
  for (const std::size_t channels : {0U, 1U, 2U, 3U}) {
    WatchView view = view_of(channels);
    view.target = live::WatchTarget{Dbfs(-5.0)};
    for (int rows = 1; rows < 70; rows += 3) {
      for (int columns = 1; columns < 210; columns += 7) {
        for (const bool rich : {true, false}) {
          const std::string text = drawn(view, rows, columns, {rich, rich});
          CHECK(std::count(text.begin(), text.end(), '\n') == rows);
        }
      }
    }
  }
}

TEST_CASE("screen: the way to the target is told in words, up, down and on it") {
  WatchView view = view_of(1);
  view.target = live::WatchTarget{Dbfs(-3.0)};
  CHECK(contains(drawn(view, 24, 80), "RAISE 3.00 dB to 20.02 V"));
  view.target = live::WatchTarget{Dbfs(-7.5)};
  CHECK(contains(drawn(view, 24, 80), "LOWER 1.50 dB to 11.93 V"));
  view.target = live::WatchTarget{Dbfs(-5.8)};
  CHECK(contains(drawn(view, 24, 80), "ON TARGET -0.20 dB of 14.51 V"));
  view.target.reset();
  CHECK(contains(drawn(view, 24, 80), "no target"));
}

TEST_CASE("screen: flat tops go before the target, by the worse rail") {
  WatchView view = view_of(1, Verdict::clipped);
  view.target = live::WatchTarget{Dbfs(0.0)};
  auto& flat = view.readings[0].findings->flat_top;
  flat.present = true;
  flat.overdrive_positive = Decibels(0.5);
  flat.overdrive_negative = Decibels(1.25);
  const std::string text = drawn(view, 24, 80);
  CHECK(contains(text, "LOWER 1.25 dB: FLAT TOPS"));
  CHECK_FALSE(contains(text, "RAISE"));
  CHECK(contains(text, "rail +  \u2588\u2588\u2588\u2588 FLAT, 0.50 dB over"));
  CHECK(contains(text, "rail -  \u2588\u2588\u2588\u2588 FLAT, 1.25 dB over"));
  CHECK(contains(text, "CLIPPED"));
}

TEST_CASE("screen: nothing is claimed while the level moves") {
  WatchView view = view_of(1);
  view.readings[0].findings.reset();
  const std::string text = drawn(view, 24, 80);
  CHECK(contains(text, "TURNING"));
  CHECK(contains(text, "THD+N --"));
  CHECK_FALSE(contains(text, "not reached"));
  CHECK_FALSE(contains(text, "FLAT"));
}

TEST_CASE("screen: an overloaded input says which control to turn") {
  const std::string text = drawn(view_of(1, Verdict::input_overload), 24, 80);
  CHECK(contains(text, "INPUT OVERLOAD"));
  CHECK(contains(text, "LOWER THE RECORDING INPUT"));
}

TEST_CASE("screen: channels stand in pairs where there is room, else the one in focus") {
  WatchView view = view_of(3);
  CHECK(contains(drawn(view, 24, 80), "channel 1"));
  CHECK(contains(drawn(view, 24, 80), "channel 2"));
  view.focus = 2;
  CHECK(contains(drawn(view, 24, 80), "channel 3"));
  const std::string narrow = drawn(view, 24, 60);
  CHECK(contains(narrow, "channel 3"));
  CHECK_FALSE(contains(narrow, "channel 2"));
}

TEST_CASE("screen: lost samples stand in the title") {
  WatchView view = view_of(1);
  CHECK_FALSE(contains(drawn(view, 24, 80), "LOST"));
  view.places_with_losses = 2;
  CHECK(contains(drawn(view, 24, 80), "SAMPLES LOST: 2"));
}

TEST_CASE("screen: what a file's name holds cannot reach the terminal as a command") {
  WatchView view = view_of(1);
  view.source = "x\x1b[2Jy\n\xff.wav";
  const std::string text = drawn(view, 24, 80);
  CHECK_FALSE(contains(text, "\x1b"));
  CHECK(contains(text, "x?[2Jy??.wav"));
}

TEST_CASE("screen: without block characters everything is ASCII") {
  WatchView view = view_of(2, Verdict::clipped);
  view.target = live::WatchTarget{Dbfs(-5.0)};
  for (const char c : drawn(view, 40, 120, {false, false}))
    CHECK(static_cast<unsigned char>(c) < 128);
}

TEST_CASE("figures: the largest scale that fits is taken") {
  CHECK(live::fitting_scale("14.14", 5, 33).columns == 2);
  CHECK(live::big_width("14.14", {1, 2}) == 30);
  CHECK(live::fitting_scale("14.14", 10, 60).rows == 2);
  CHECK(live::fitting_scale("14.14", 10, 33).rows == 1);
}

}  // namespace
