// SPDX-License-Identifier: MIT
// The words of a watch, from what was measured and the target.
#include "live/watch_words.hpp"

#include <algorithm>
#include <cmath>

#include "judge/overdrive.hpp"
#include "units/print.hpp"

namespace railtap::live {
namespace {

using electric::Direction;
using judge::Verdict;

const char* word_of(Direction direction) {
  switch (direction) {
    case Direction::raise:
      return "RAISE";
    case Direction::lower:
      return "LOWER";
    case Direction::hold:
      return "ON TARGET";
  }
  return "";
}

Advice advice_to_target(const ToGo& way, const WatchView& view) {
  const bool hold = way.direction == Direction::hold;
  std::string text = hold ? format_fixed(-way.change, 2, Sign::always)
                          : format_fixed(Decibels(std::abs(way.change.value())), 2);
  text += (hold ? " of " : " to ") + level_text(view.target->level, view.volts_per_full_scale);
  const Style style =
      hold ? Style::good : (way.direction == Direction::lower ? Style::caution : Style::strong);
  return {way.direction, word_of(way.direction), std::move(text), style};
}

}  // namespace

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

std::string capitals(std::string text) {
  for (char& c : text) {
    if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
    if (c == '-') c = ' ';
  }
  return text;
}

std::string heading_word(const ChannelReading& reading) {
  std::string word = verdict_word(reading);
  const auto& found = reading.findings;
  const auto cause = cause_of(reading);
  const bool of_the_block = found && found->cause && found->verdict == Verdict::distorted;
  const bool flat = found && (found->flat_top.present || found->input_overload.present);
  if (cause && !flat && (of_the_block || reading.lasting))
    word += std::string(": ") + judge::name(cause->kind);
  return capitals(std::move(word));
}

Figures figures_of(const ChannelReading& reading, const WatchView& view, int decimals) {
  if (!reading.level) return {"-", "silent"};
  const std::string text = view.volts_per_full_scale
                               ? level_text(*reading.level, view.volts_per_full_scale)
                               : format_fixed(*reading.level, decimals);
  const auto space = text.find(' ');
  return {text.substr(0, space), space == std::string::npos ? "" : text.substr(space + 1)};
}

Advice advice_of(const ChannelReading& reading, const WatchView& view) {
  const std::string lower = word_of(Direction::lower);
  if (reading.findings && reading.findings->verdict == Verdict::input_overload)
    return {Direction::lower, lower, "THE RECORDING INPUT", Style::alarm};
  const auto over =
      reading.findings ? judge::larger_overdrive(reading.findings->flat_top) : std::nullopt;
  if (over) return {Direction::lower, lower, format_fixed(*over, 2) + ": FLAT TOPS", Style::alarm};
  const auto way = to_go(reading, view.target);
  if (way) return advice_to_target(*way, view);
  return {std::nullopt, "", view.target ? "no level" : "no target: t sets one", Style::faint};
}

LevelBar level_bar(const ChannelReading& reading, const WatchView& view) {
  const Dbfs low = view.target ? view.target->level - below_target : lowest_shown;
  const Dbfs high = view.target ? view.target->level + above_target : Dbfs(0.0);
  const auto share = [&](Dbfs level) {
    return std::clamp((level - low).value() / (high - low).value(), 0.0, 1.0);
  };
  LevelBar bar;
  if (reading.level) bar.filled = share(*reading.level);
  if (view.target) bar.target = share(view.target->level);
  const auto way = to_go(reading, view.target);
  if (way && way->direction == Direction::hold) bar.style = Style::good;
  if (way && way->direction == Direction::lower) bar.style = Style::caution;
  return bar;
}

std::string thdn_text(const ChannelReading& reading, const WatchView& view) {
  const bool known = reading.findings && reading.findings->thdn;
  std::string text = "THD+N " + (known ? format_quantity(*reading.findings->thdn, 3) : "--");
  if (is_interfaces_own(reading, view)) text += " (input's own)";
  return text;
}

std::string frequency_text(const ChannelReading& reading) {
  const bool known = reading.findings && reading.findings->frequency;
  return known ? format_quantity(*reading.findings->frequency, 5, Zeros::keep) : "-- Hz";
}

std::optional<std::string> highest_clean_text(const ChannelReading& reading,
                                              const WatchView& view) {
  if (!reading.highest_clean) return std::nullopt;
  const HighestClean& clean = *reading.highest_clean;
  return "highest clean " + level_text(clean.level, view.volts_per_full_scale) + " at " +
         format_fixed(clean.at, 1);
}

RailLamp rail_lamp(const ChannelReading& reading, const std::optional<Decibels>& over) {
  RailLamp lamp;
  lamp.known = reading.findings && reading.findings->frequency;
  lamp.flat = over.has_value();
  lamp.style = over ? Style::alarm : (lamp.known ? Style::good : Style::faint);
  if (lamp.known) lamp.text = over ? "FLAT, " + format_fixed(*over, 2) + " over" : "not reached";
  return lamp;
}

judge::FlatTop flat_top_of(const ChannelReading& reading) {
  return reading.findings ? reading.findings->flat_top : judge::FlatTop{};
}

std::size_t first_of_pair(const WatchView& view) {
  const std::size_t count = view.readings.size();
  if (count < 2) return 0;
  const std::size_t focus = std::min(view.focus, count - 1);
  return std::min(focus / 2 * 2, count - 2);
}

}  // namespace railtap::live
