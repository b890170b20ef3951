// SPDX-License-Identifier: MIT
// The drawing of the watch screen.
#include "live/watch_screen.hpp"

#include <algorithm>
#include <cmath>

#include "live/canvas.hpp"
#include "units/print.hpp"

namespace railtap::live {
namespace {

using electric::Direction;
using judge::Verdict;

constexpr int least_columns = 38;
constexpr int least_rows = 15;
constexpr int columns_for_two = 2 * least_columns + 2;
constexpr int digit_rows = 5;
// Around the target: as far below as a control that was never set may be, and a little above.
constexpr double below_target_db = 12.0;
constexpr double above_target_db = 3.0;
// Without a target the bar shows what a recording input can take.
constexpr double lowest_shown_dbfs = -60.0;

// What is shown in capitals has to be noticed.
std::string capitals(std::string text) {
  for (char& c : text) {
    if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
    if (c == '-') c = ' ';
  }
  return text;
}

Style style_of(const ChannelReading& reading) {
  if (!reading.findings) return Style::faint;
  switch (reading.findings->verdict) {
    case Verdict::clean:
      return Style::good;
    case Verdict::clipped:
    case Verdict::input_overload:
      return Style::alarm;
    case Verdict::distorted:
    case Verdict::unusable:
      return Style::caution;
    case Verdict::no_tone:
    case Verdict::no_signal:
      return Style::plain;
  }
  return Style::plain;
}

struct Figures {
  std::string digits, unit;
};

// The level in four digits: volts or millivolts, or dBFS.
Figures figures_of(const ChannelReading& reading, const WatchView& view, bool roomy) {
  if (!reading.level) return {"-", "silent"};
  std::string text;
  if (view.volts_per_full_scale) {
    text = level_text(*reading.level, view.volts_per_full_scale);
  } else {
    text = format_fixed(*reading.level, roomy ? 2 : 1);
  }
  const auto space = text.find(' ');
  return {text.substr(0, space), space == std::string::npos ? "" : text.substr(space + 1)};
}

// \returns the rows that they take
int draw_figures(const Area& area, const ChannelReading& reading, const WatchView& view,
                 const Glyphs& glyphs) {
  constexpr int unit_columns = 6;
  const int room = area.columns - unit_columns;
  Figures figures = figures_of(reading, view, true);
  if (big_width(figures.digits, {}) > room) figures = figures_of(reading, view, false);
  const DigitScale scale = fitting_scale(figures.digits, area.rows, room);
  const Style style = style_of(reading) == Style::faint ? Style::strong : style_of(reading);
  const char32_t dot = glyphs.blocks ? U'\u2588' : U'#';
  const int column = draw_big(area, 0, figures.digits, scale, dot, style);
  area.write(digit_rows * scale.rows - 1, column, figures.unit, Style::strong);
  return digit_rows * scale.rows;
}

std::string arrow(Direction direction, const Glyphs& glyphs) {
  switch (direction) {
    case Direction::raise:
      return glyphs.blocks ? "\u25B2 RAISE " : "^ RAISE ";
    case Direction::lower:
      return glyphs.blocks ? "\u25BC LOWER " : "v LOWER ";
    case Direction::hold:
      return glyphs.blocks ? "\u25A0 ON TARGET " : "= ON TARGET ";
  }
  return "";
}

// What to do, in one line: away from flat tops first, then to the target.
void draw_advice(const Area& area, const ChannelReading& reading, const WatchView& view,
                 const Glyphs& glyphs) {
  if (reading.findings && reading.findings->verdict == Verdict::input_overload) {
    area.write(0, 0, arrow(Direction::lower, glyphs) + "THE RECORDING INPUT", Style::alarm);
    return;
  }
  const auto over = reading.findings ? overdrive(*reading.findings) : std::nullopt;
  if (over) {
    area.write(0, 0, arrow(Direction::lower, glyphs) + format_fixed(*over, 2) + ": FLAT TOPS",
               Style::alarm);
    return;
  }
  const auto way = to_go(reading, view.target);
  if (!way) {
    area.write(0, 0, view.target ? "no level" : "no target: t sets one", Style::faint);
    return;
  }
  const bool hold = way->direction == Direction::hold;
  std::string text = arrow(way->direction, glyphs);
  text += hold ? format_fixed(-way->change, 2, Sign::always)
               : format_fixed(Decibels(std::abs(way->change.value())), 2);
  text += (hold ? " of " : " to ") + level_text(view.target->level, view.volts_per_full_scale);
  const Style style =
      hold ? Style::good : (way->direction == Direction::lower ? Style::caution : Style::strong);
  area.write(0, 0, text, style);
}

// The level as a bar; the target is at four fifths of it.
void draw_bar(const Area& area, const ChannelReading& reading, const WatchView& view,
              const Glyphs& glyphs) {
  const double low = view.target ? view.target->level.value() - below_target_db : lowest_shown_dbfs;
  const double high = view.target ? view.target->level.value() + above_target_db : 0.0;
  const auto column_of = [&](double dbfs) {
    return std::clamp((dbfs - low) / (high - low), 0.0, 1.0) * area.columns;
  };
  const double filled = reading.level ? column_of(reading.level->value()) : 0.0;
  const auto way = to_go(reading, view.target);
  const bool hold = way && way->direction == Direction::hold;
  const bool above = way && way->direction == Direction::lower;
  const Style style = hold ? Style::good : (above ? Style::caution : Style::plain);
  for (int column = 0; column < area.columns; ++column) {
    const double share = std::clamp(filled - column, 0.0, 1.0);
    area.put(0, column, bar_cell(share, glyphs), share > 0.0 ? style : Style::faint);
  }
  if (!view.target) return;
  const int mark =
      std::min(static_cast<int>(column_of(view.target->level.value())), area.columns - 1);
  area.put(0, mark, glyphs.blocks ? U'\u2503' : U'|', Style::strong);
}

void draw_numbers(const Area& area, const ChannelReading& reading, const WatchView& view) {
  std::string text = "THD+N ";
  const judge::Findings nothing;
  const judge::Findings& f = reading.findings ? *reading.findings : nothing;
  text += f.thdn ? format_quantity(*f.thdn, 3) : "--";
  if (is_interfaces_own(reading, view)) text += " (input's own)";
  area.write(0, 0, text, style_of(reading) == Style::caution ? Style::caution : Style::plain);
  area.write_right(0, f.frequency ? format_quantity(*f.frequency, 5, Zeros::keep) : "-- Hz",
                   Style::plain);
}

void draw_lamp(const Area& area, const char* rail, const ChannelReading& reading,
               const std::optional<Decibels>& over, const Glyphs& glyphs) {
  const bool tone = reading.findings && reading.findings->frequency;
  const char32_t light = !tone           ? U'.'
                         : glyphs.blocks ? (over ? U'\u2588' : U'\u2591')
                                         : (over ? U'#' : U'-');
  const Style style = over ? Style::alarm : (tone ? Style::good : Style::faint);
  int column = area.write(0, 0, rail, Style::plain);
  for (int i = 0; i < 4; ++i) area.put(0, column++, light, style);
  if (!tone) return;
  area.write(0, column + 1, over ? "FLAT, " + format_fixed(*over, 2) + " over" : "not reached",
             style);
}

void draw_lamps(const Area& area, const ChannelReading& reading, const Glyphs& glyphs) {
  const judge::Findings nothing;
  const auto& flat = (reading.findings ? *reading.findings : nothing).flat_top;
  draw_lamp(area.part(0, 1), "rail +  ", reading, flat.overdrive_positive, glyphs);
  draw_lamp(area.part(1, 1), "rail -  ", reading, flat.overdrive_negative, glyphs);
}

void draw_clean(const Area& area, const ChannelReading& reading, const WatchView& view) {
  if (!reading.highest_clean) {
    area.write(0, 0, "nothing clean yet", Style::faint);
    return;
  }
  const HighestClean& clean = *reading.highest_clean;
  area.write(0, 0,
             "highest clean " + level_text(clean.level, view.volts_per_full_scale) + " at " +
                 format_fixed(clean.at, 1),
             Style::plain);
}

void draw_cycle(const Area& area, const ChannelReading& reading, const Glyphs& glyphs) {
  if (reading.cycle.empty()) {
    area.write(area.rows / 2, 0, "no cycle: not one steady tone", Style::faint);
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
  double highest = lowest_shown_dbfs;
  for (const HistoryPoint& point : history) {
    if (point.level) highest = std::max(highest, point.level->value());
  }
  const double top = view.target ? view.target->level.value() + above_target_db : highest;
  const double bottom = top - below_target_db - above_target_db;
  const auto columns = static_cast<std::size_t>(area.columns);
  const std::size_t group = (most_points + columns - 1) / columns;
  const auto shown = static_cast<int>((history.size() + group - 1) / group);
  for (int column = 0; column < shown; ++column) {
    const HistoryPoint point = merged(history, static_cast<std::size_t>(column) * group, group);
    const double share = point.level ? (point.level->value() - bottom) / (top - bottom) : 0.0;
    draw_column(area.part(1, area.rows - 1), area.columns - shown + column,
                std::clamp(share, 0.0, 1.0), style_of(point), glyphs);
  }
}

void draw_heading(const Area& area, const ChannelReading& reading, bool focused,
                  const Glyphs& glyphs) {
  const std::string mark = focused ? (glyphs.blocks ? "\u25B6 " : "> ") : "  ";
  area.write(0, 0, mark + "channel " + std::to_string(reading.channel), Style::strong);
  std::string word = verdict_word(reading);
  const auto& found = reading.findings;
  if (found && found->cause && found->verdict == Verdict::distorted)
    word += std::string(": ") + judge::name(found->cause->kind);
  area.write_right(0, capitals(word), style_of(reading));
}

void draw_channel(const Area& area, const ChannelReading& reading, const WatchView& view,
                  bool focused, const Glyphs& glyphs) {
  constexpr int lines = 7;  // heading, advice, bar, numbers, two lamps, highest clean
  constexpr int history_rows = 3;
  constexpr int least_cycle_rows = 3;
  draw_heading(area.part(0, 1), reading, focused, glyphs);
  // Half of what is left over goes to the figures, as far as they can use it.
  const int spare = area.rows - lines - digit_rows;
  const int big =
      spare >= digit_rows + history_rows + least_cycle_rows ? 2 * digit_rows : digit_rows;
  int row = 1 + draw_figures(area.part(1, big), reading, view, glyphs);
  draw_advice(area.part(row, 1), reading, view, glyphs);
  draw_bar(area.part(row + 1, 1), reading, view, glyphs);
  draw_numbers(area.part(row + 2, 1), reading, view);
  draw_lamps(area.part(row + 3, 2), reading, glyphs);
  draw_clean(area.part(row + 5, 1), reading, view);
  row += 6;
  const int left = area.rows - row;
  const bool history = left >= history_rows + least_cycle_rows || left == history_rows;
  const int cycle_rows = left - (history ? history_rows : 0);
  if (cycle_rows >= least_cycle_rows) draw_cycle(area.part(row, cycle_rows), reading, glyphs);
  if (history)
    draw_history(area.part(area.rows - history_rows, history_rows), reading, view, glyphs);
}

void draw_title(const Area& area, const WatchView& view) {
  int column = area.write(0, 0,
                          " " + view.source + "  " + format_quantity(view.rate, 6) + "  " +
                              format_fixed(view.time, 1) + " ",
                          Style::heading);
  for (; column < area.columns; ++column) area.put(0, column, U' ', Style::heading);
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
                   (view.knobs.empty() ? "" : "  " + view.knobs),
               Style::faint);
  }
}

void draw_channels(const Area& area, const WatchView& view, const Glyphs& glyphs) {
  if (view.readings.empty()) return;
  const std::size_t count = view.readings.size();
  const std::size_t focus = std::min(view.focus, count - 1);
  if (count == 1 || area.columns < columns_for_two) {
    draw_channel(area, view.readings[focus], view, count > 1, glyphs);
    return;
  }
  // Channels are shown in pairs: 1 and 2, 3 and 4, …; the last one of an odd number with its
  // neighbour.
  const std::size_t first = std::min(focus / 2 * 2, count - 2);
  const int width = (area.columns - 3) / 2;
  for (std::size_t side = 0; side < 2; ++side) {
    const int left = area.left + (side == 0 ? 0 : area.columns - width);
    const Area half{area.canvas, area.top, left, area.rows, width};
    draw_channel(half, view.readings[first + side], view, first + side == focus, glyphs);
  }
  for (int row = 0; row < area.rows; ++row)
    area.put(row, area.columns / 2, glyphs.blocks ? U'\u2502' : U'|', Style::faint);
}

}  // namespace

void draw(const WatchView& view, const Glyphs& glyphs, Canvas& canvas) {
  const Area all{canvas, 0, 0, canvas.rows(), canvas.columns()};
  if (all.columns < least_columns || all.rows < least_rows) {
    all.write(0, 0,
              "make the window larger: " + std::to_string(least_columns) + " x " +
                  std::to_string(least_rows),
              Style::strong);
    return;
  }
  draw_title(all.part(0, 1), view);
  draw_channels(all.part(1, all.rows - 2), view, glyphs);
  draw_footer(all.part(all.rows - 1, 1), view);
}

}  // namespace railtap::live
