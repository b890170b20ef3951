// SPDX-License-Identifier: MIT
// Everything that a watch shows at one moment, and what it says of a channel in words and shares:
// the same on the terminal's screen and on the phone page.
#include "live/watch_view.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "judge/loopback.hpp"
#include "judge/sentence.hpp"
#include "judge/turning.hpp"
#include "report/analysis.hpp"
#include "report/words.hpp"
#include "system/json.hpp"
#include "units/print.hpp"
#include "units/visible.hpp"

namespace railtap::live {

// The figures and the words of a watch.

namespace {

using electric::Direction;
using system::Json;
using system::json_number;

// Four digits, and two decimals of a dB: as fine as the level is known while it is watched.
constexpr int level_digits = 4;

std::string target_text(const ToGo& way) {
  if (way.direction == Direction::hold)
    return "on target (" + format_fixed(-way.change, 2, Sign::always) + ")";
  return std::string(name(way.direction)) + " " +
         format_fixed(Decibels(std::abs(way.change.value())), 2);
}

std::string rail_text(const char* rail, const std::optional<Decibels>& over) {
  return over ? std::string(", ") + rail + " rail flat, " + judge::overdrive_text(*over) + " over"
              : "";
}

std::string channel_line(const ChannelReading& reading, const WatchView& view) {
  std::string line = " | " + visible(judge::channel_called(view.names, reading.channel)) + ": ";
  line += reading.level ? level_text(*reading.level, view.volts_per_full_scale) : "silent";
  if (const auto way = to_go(reading, view.target)) line += ", " + target_text(*way);
  line += ", " + verdict_word(reading);
  const auto cause = cause_sentence(reading);
  if (!reading.findings) return cause ? line + ". " + *cause : line;
  const judge::Findings& f = *reading.findings;
  if (f.thdn) line += ", THD+N " + format_quantity(*f.thdn, 3);
  if (is_interfaces_own(reading, view)) line += " (not above the interface's own)";
  if (f.frequency) line += ", " + format_quantity(*f.frequency, 5);
  line += rail_text("positive", f.flat_top.overdrive_positive);
  line += rail_text("negative", f.flat_top.overdrive_negative);
  if (cause) line += ". " + *cause;
  return line;
}

std::optional<Volts> volts_of(const std::optional<Dbfs>& level, const WatchView& view) {
  if (!level || !view.volts_per_full_scale) return std::nullopt;
  return rms_volts(*level, *view.volts_per_full_scale);
}

Json clean_json(const ChannelReading& reading, const WatchView& view) {
  if (!reading.highest_clean) return nullptr;
  const HighestClean& clean = *reading.highest_clean;
  Json json;
  json.set("at_s", json_number(clean.at.value()));
  json.set("level_dbfs", json_number(clean.level.value()));
  json.set("level_v", json_number(volts_of(clean.level, view)));
  json.set("thdn_percent", json_number(clean.thdn.value()));
  return json;
}

void add_findings(Json& json, const ChannelReading& reading) {
  const std::optional<judge::Findings>& found = reading.findings;
  const judge::Findings f = found.value_or(judge::Findings{});
  json.set("frequency_hz", json_number(f.frequency));
  json.set("peak_dbfs", json_number(f.peak));
  json.set("thdn_percent", json_number(f.thdn));
  json.set("thd_percent", json_number(f.thd));
  json.set("flat_top", {{"present", found ? Json(f.flat_top.present) : Json(nullptr)},
                        {"overdrive_positive_db", json_number(f.flat_top.overdrive_positive)},
                        {"overdrive_negative_db", json_number(f.flat_top.overdrive_negative)}});
  json.set("reasons", f.reasons);
  json.set("clipped", f.clipped ? Json(*f.clipped) : Json(nullptr));
  json.set("cause", report::cause_json(cause_of(reading)));
}

Json channel_json(const ChannelReading& reading, const WatchView& view) {
  Json json;
  json.set("channel", reading.channel);
  json.set("name", report::name_json(judge::name_of_channel(view.names, reading.channel)));
  json.set("level_dbfs", json_number(reading.level));
  json.set("level_v", json_number(volts_of(reading.level, view)));
  const auto way = to_go(reading, view.target);
  json.set("change_db", way ? json_number(way->change.value()) : Json(nullptr));
  json.set("direction", way ? Json(name(way->direction)) : Json(nullptr));
  json.set("steady", reading.steady);
  json.set("verdict",
           reading.findings ? Json(judge::name(reading.findings->verdict)) : Json(nullptr));
  add_findings(json, reading);
  json.set("thdn_not_above_interface", view.interface && reading.findings
                                           ? Json(is_interfaces_own(reading, view))
                                           : Json(nullptr));
  json.set("highest_clean", clean_json(reading, view));
  return json;
}

bool bad(judge::Verdict verdict) {
  return verdict == judge::Verdict::clipped || verdict == judge::Verdict::distorted ||
         verdict == judge::Verdict::input_overload || verdict == judge::Verdict::unusable;
}

}  // namespace

Volts rms_volts(Dbfs level, Volts volts_per_full_scale) {
  return volts_per_full_scale * (sine_peak(level) / std::numbers::sqrt2);
}

Dbfs level_of(Volts rms, Volts volts_per_full_scale) {
  return dbfs_from_sine_peak(rms / volts_per_full_scale * std::numbers::sqrt2);
}

std::optional<ToGo> to_go(const ChannelReading& reading, const std::optional<WatchTarget>& target) {
  if (!target || !reading.level) return std::nullopt;
  ToGo way;
  way.change = target->level - *reading.level;
  if (way.change > target->tolerance) way.direction = Direction::raise;
  if (way.change < -target->tolerance) way.direction = Direction::lower;
  return way;
}

std::optional<judge::Cause> cause_of(const ChannelReading& reading) {
  const auto& found = reading.findings;
  const bool at_a_limit =
      found && (found->input_overload.present || found->flat_top.present ||
                (found->cause && found->thd && found->thdn && 2.0 * *found->thd > *found->thdn));
  if (found && (at_a_limit || !reading.lasting)) return found->cause;
  return reading.lasting;
}

std::optional<std::string> cause_sentence(const ChannelReading& reading) {
  const auto cause = cause_of(reading);
  const bool told_by_rails = flat_top_of(reading).present && cause && cause->turn_down;
  if (!cause || told_by_rails) return std::nullopt;
  return cause->sentence;
}

std::string verdict_word(const ChannelReading& reading) {
  if (reading.findings) return judge::name(reading.findings->verdict);
  return reading.history.empty() ? "waiting" : "turning";
}

std::string level_text(Dbfs level, const std::optional<Volts>& volts_per_full_scale) {
  if (!volts_per_full_scale) return format_fixed(level, 2);
  return format_quantity(rms_volts(level, *volts_per_full_scale), level_digits, Zeros::keep);
}

bool is_interfaces_own(const ChannelReading& reading, const WatchView& view) {
  return view.interface && reading.findings &&
         judge::not_above(*reading.findings, *view.interface).thdn;
}

bool within_limits(const WatchView& view) {
  if (view.places_with_losses > 0) return false;
  return std::all_of(view.readings.begin(), view.readings.end(), [&view](const auto& reading) {
    if (reading.findings && bad(reading.findings->verdict)) return false;
    const auto way = to_go(reading, view.target);
    return !way || way->direction == Direction::hold;
  });
}

std::string plain_line(const WatchView& view) {
  std::string line = format_fixed(view.time, 1);
  for (const ChannelReading& reading : view.readings) line += channel_line(reading, view);
  if (view.places_with_losses > 0)
    line += " | samples lost in " + std::to_string(view.places_with_losses) + " places";
  return line;
}

std::string json_line(const WatchView& view) {
  Json json;
  json.set("schema", "railtap.watch/1");
  json.set("source", view.source);
  json.set("time_s", json_number(view.time.value()));
  json.set("sample_rate_hz", json_number(view.rate.value()));
  json.set("volts_per_full_scale", json_number(view.volts_per_full_scale));
  json.set("target_dbfs", view.target ? json_number(view.target->level.value()) : Json(nullptr));
  json.set("target_v", json_number(volts_of(
                           view.target ? std::optional(view.target->level) : std::nullopt, view)));
  json.set("tolerance_db",
           view.target ? json_number(view.target->tolerance.value()) : Json(nullptr));
  json.set("limit_thdn_percent", json_number(view.limit.value()));
  json.set("places_with_losses", view.places_with_losses);
  Json channels = Json::array();
  for (const ChannelReading& reading : view.readings)
    channels.push_back(channel_json(reading, view));
  json.set("channels", std::move(channels));
  return json.line();
}

// The words of a watch, from what was measured and the target.

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
  if (over)
    return {Direction::lower, lower, judge::overdrive_text(*over) + ": FLAT TOPS", Style::alarm};
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
  if (lamp.known)
    lamp.text = over ? "FLAT, " + judge::overdrive_text(*over) + " over" : "not reached";
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
