// SPDX-License-Identifier: MIT
// The drawing of the watch screen.
#include "live/watch_screen.hpp"

#include <algorithm>
#include <cmath>

#include "judge/sentence.hpp"
#include "live/canvas.hpp"
#include "live/watch_view.hpp"
#include "units/print.hpp"

namespace railtap::live {
namespace {

using electric::Direction;

constexpr int least_columns = 38;
constexpr int least_rows = 15;
constexpr int columns_for_two = 2 * least_columns + 2;
constexpr int digit_rows = 5;

// \returns the rows that they take
int draw_figures(const Area& area, const ChannelReading& reading, const WatchView& view,
                 const Glyphs& glyphs) {
  constexpr int unit_columns = 6;
  const int room = area.columns() - unit_columns;
  Figures figures = figures_of(reading, view, 2);
  if (big_width(figures.digits, {}) > room) figures = figures_of(reading, view, 1);
  const DigitScale scale = fitting_scale(figures.digits, area.rows(), room);
  const Style style = style_of(reading) == Style::faint ? Style::strong : style_of(reading);
  const char32_t dot = glyphs.blocks ? U'\u2588' : U'#';
  const int column = draw_big(area, 0, figures.digits, scale, dot, style);
  area.write(digit_rows * scale.rows - 1, column, figures.unit, Style::strong);
  return digit_rows * scale.rows;
}

std::string arrow(const std::optional<Direction>& direction, const Glyphs& glyphs) {
  if (!direction) return "";
  switch (*direction) {
    case Direction::raise:
      return glyphs.blocks ? "\u25B2 " : "^ ";
    case Direction::lower:
      return glyphs.blocks ? "\u25BC " : "v ";
    case Direction::hold:
      return glyphs.blocks ? "\u25A0 " : "= ";
  }
  return "";
}

// What to do, in one line.
void draw_advice(const Area& area, const ChannelReading& reading, const WatchView& view,
                 const Glyphs& glyphs) {
  const Advice advice = advice_of(reading, view);
  const std::string word = advice.word.empty() ? "" : advice.word + " ";
  area.write(0, 0, arrow(advice.direction, glyphs) + word + advice.text, advice.style);
}

// The level as a bar.
void draw_bar(const Area& area, const ChannelReading& reading, const WatchView& view,
              const Glyphs& glyphs) {
  const LevelBar bar = level_bar(reading, view);
  const double filled = bar.filled * area.columns();
  for (int column = 0; column < area.columns(); ++column) {
    const double share = std::clamp(filled - column, 0.0, 1.0);
    area.put(0, column, bar_cell(share, glyphs), share > 0.0 ? bar.style : Style::faint);
  }
  if (!bar.target) return;
  const int mark = std::min(static_cast<int>(*bar.target * area.columns()), area.columns() - 1);
  area.put(0, mark, glyphs.blocks ? U'\u2503' : U'|', Style::strong);
}

void draw_numbers(const Area& area, const ChannelReading& reading, const WatchView& view) {
  area.write(0, 0, thdn_text(reading, view),
             style_of(reading) == Style::caution ? Style::caution : Style::plain);
  area.write_right(0, frequency_text(reading), Style::plain);
}

void draw_lamp(const Area& area, const char* rail, const ChannelReading& reading,
               const std::optional<Decibels>& over, const Glyphs& glyphs) {
  const RailLamp lamp = rail_lamp(reading, over);
  const char32_t light = !lamp.known     ? U'.'
                         : glyphs.blocks ? (over ? U'\u2588' : U'\u2591')
                                         : (over ? U'#' : U'-');
  const int column = area.write(0, 0, rail, Style::plain);
  constexpr int lights = 4;
  area.put(0, column, light, lamp.style, lights);
  area.write(0, column + lights + 1, lamp.text, lamp.style);
}

void draw_lamps(const Area& area, const ChannelReading& reading, const Glyphs& glyphs) {
  const judge::FlatTop flat = flat_top_of(reading);
  draw_lamp(area.part(0, 1), "rail +  ", reading, flat.overdrive_positive, glyphs);
  draw_lamp(area.part(1, 1), "rail -  ", reading, flat.overdrive_negative, glyphs);
}

void draw_clean(const Area& area, const ChannelReading& reading, const WatchView& view) {
  const auto text = highest_clean_text(reading, view);
  area.write(0, 0, text.value_or("nothing clean yet"), text ? Style::plain : Style::faint);
}

void draw_cycle(const Area& area, const ChannelReading& reading, const Glyphs& glyphs) {
  if (reading.cycle.empty()) {
    area.write(area.rows() / 2, 0, "no cycle: not one steady tone", Style::faint);
    return;
  }
  const bool flat = reading.findings && reading.findings->flat_top.present;
  draw_curve(area, reading.cycle, flat ? Style::alarm : Style::plain, glyphs);
}

Style style_of(const HistoryPoint& point) {
  if (!point.verdict) return Style::faint;
  ChannelReading reading;
  reading.findings.emplace();
  reading.findings->verdict = *point.verdict;
  return style_of(reading);
}

// One column of the history shows one or several points; the worst verdict colours it.
HistoryPoint merged(const std::deque<HistoryPoint>& history, std::size_t from, std::size_t count) {
  HistoryPoint all;
  for (std::size_t i = from; i < std::min(from + count, history.size()); ++i) {
    const HistoryPoint& point = history[i];
    if (point.level && (!all.level || *point.level > *all.level)) all.level = point.level;
    const auto worse = [&] { return style_of(point) > style_of(all); };
    if (point.verdict && (!all.verdict || worse())) all.verdict = point.verdict;
  }
  return all;
}

void draw_history(const Area& area, const ChannelReading& reading, const WatchView& view,
                  const Glyphs& glyphs) {
  constexpr std::size_t most_points = 120;  // ChannelWatch: a minute in steps of half a second
  area.write(0, 0, "last minute", Style::faint);
  const auto& history = reading.history;
  if (history.empty()) return;
  Dbfs highest = lowest_shown;
  for (const HistoryPoint& point : history) {
    if (point.level) highest = std::max(highest, *point.level);
  }
  const Dbfs top = view.target ? view.target->level + above_target : highest;
  const Dbfs bottom = top - below_target - above_target;
  const auto columns = static_cast<std::size_t>(area.columns());
  const std::size_t group = (most_points + columns - 1) / columns;
  const auto shown = static_cast<int>((history.size() + group - 1) / group);
  for (int column = 0; column < shown; ++column) {
    const HistoryPoint point = merged(history, static_cast<std::size_t>(column) * group, group);
    const double share =
        point.level ? (*point.level - bottom).value() / (top - bottom).value() : 0.0;
    draw_column(area.part(1, area.rows() - 1), area.columns() - shown + column,
                std::clamp(share, 0.0, 1.0), style_of(point), glyphs);
  }
}

void draw_heading(const Area& area, const ChannelReading& reading, const WatchView& view,
                  bool focused, const Glyphs& glyphs) {
  const std::string mark = focused ? (glyphs.blocks ? "\u25B6 " : "> ") : "  ";
  area.write(0, 0, mark + judge::channel_called(view.names, reading.channel), Style::strong);
  area.write_right(0, heading_word(reading), style_of(reading));
}

void draw_channel(const Area& area, const ChannelReading& reading, const WatchView& view,
                  bool focused, const Glyphs& glyphs) {
  constexpr int lines = 7;  // heading, advice, bar, numbers, two lamps, highest clean
  constexpr int history_rows = 3;
  constexpr int least_cycle_rows = 3;
  draw_heading(area.part(0, 1), reading, view, focused, glyphs);
  // Half of what is left over goes to the figures, as far as they can use it.
  const int spare = area.rows() - lines - digit_rows;
  const int big =
      spare >= digit_rows + history_rows + least_cycle_rows ? 2 * digit_rows : digit_rows;
  int row = 1 + draw_figures(area.part(1, big), reading, view, glyphs);
  draw_advice(area.part(row, 1), reading, view, glyphs);
  draw_bar(area.part(row + 1, 1), reading, view, glyphs);
  draw_numbers(area.part(row + 2, 1), reading, view);
  draw_lamps(area.part(row + 3, 2), reading, glyphs);
  draw_clean(area.part(row + 5, 1), reading, view);
  row += 6;
  const int left = area.rows() - row;
  const bool history = left >= history_rows + least_cycle_rows || left == history_rows;
  const int cycle_rows = left - (history ? history_rows : 0);
  if (cycle_rows >= least_cycle_rows) draw_cycle(area.part(row, cycle_rows), reading, glyphs);
  if (history)
    draw_history(area.part(area.rows() - history_rows, history_rows), reading, view, glyphs);
}

void draw_title(const Area& area, const WatchView& view) {
  area.put(0, 0, U' ', Style::heading, area.columns());
  area.write(0, 0,
             " " + view.source + "  " + format_quantity(view.rate, 6) + "  " +
                 format_fixed(view.time, 1) + " ",
             Style::heading);
  std::string state;
  if (view.places_with_losses > 0)
    state = " SAMPLES LOST: " + std::to_string(view.places_with_losses) + " ";
  if (view.held) state += " HELD ";
  if (view.ended) state += " ENDED ";
  if (!state.empty())
    area.write_right(0, state, view.places_with_losses > 0 ? Style::alarm : Style::caution);
}

void draw_footer(const Area& area, const WatchView& view) {
  if (view.prompt) {
    area.write(0, 0, *view.prompt + "_", Style::strong);
  } else if (!view.message.empty()) {
    area.write(0, 0, view.message, Style::strong);
  } else {
    area.write(0, 0,
               "h hold  r reset  t target  n next  s save  q quit" +
                   std::string(view.page ? "  p page" : "") +
                   (view.knobs.empty() ? "" : "  " + view.knobs),
               Style::faint);
  }
}

void draw_channels(const Area& area, const WatchView& view, const Glyphs& glyphs) {
  if (view.readings.empty()) return;
  const std::size_t count = view.readings.size();
  const std::size_t focus = std::min(view.focus, count - 1);
  if (count == 1 || area.columns() < columns_for_two) {
    draw_channel(area, view.readings[focus], view, count > 1, glyphs);
    return;
  }
  const std::size_t first = first_of_pair(view);
  const int width = (area.columns() - 3) / 2;
  for (std::size_t side = 0; side < 2; ++side) {
    const int left = side == 0 ? 0 : area.columns() - width;
    draw_channel(area.part(0, left, area.rows(), width), view.readings[first + side], view,
                 first + side == focus, glyphs);
  }
  for (int row = 0; row < area.rows(); ++row)
    area.put(row, area.columns() / 2, glyphs.blocks ? U'\u2502' : U'|', Style::faint);
}

}  // namespace

void draw(const WatchView& view, const Glyphs& glyphs, WINDOW* window) {
  const Area all(window);
  if (all.columns() < least_columns || all.rows() < least_rows) {
    all.write(0, 0,
              "make the window larger: " + std::to_string(least_columns) + " x " +
                  std::to_string(least_rows),
              Style::strong);
    return;
  }
  draw_title(all.part(0, 1), view);
  draw_channels(all.part(1, all.rows() - 2), view, glyphs);
  draw_footer(all.part(all.rows() - 1, 1), view);
}

}  // namespace railtap::live
