// SPDX-License-Identifier: MIT
// What a person says to a virtual car.
#include "command/rehearsal.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <sstream>
#include <string_view>

#include "command/dialog.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::command {
namespace {

using Words = std::vector<std::string>;

constexpr Decibels per_key{0.5};  // of gain

// Of a sentence, what says nothing.
constexpr std::array fillers = {"turn", "the", "of",  "by",   "please", "switch",
                                "set",  "it",  "and", "pair", "pairs",  "control's"};

std::string lower(std::string text) {
  for (char& c : text) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return text;
}

Words words_of(const std::string& typed) {
  Words words;
  std::istringstream in(lower(typed));
  for (std::string word; in >> word;) {
    if (std::find(fillers.begin(), fillers.end(), word) == fillers.end()) words.push_back(word);
  }
  return words;
}

bool has(const Words& words, std::initializer_list<const char*> any) {
  return std::any_of(words.begin(), words.end(), [&any](const std::string& word) {
    return std::find(any.begin(), any.end(), word) != any.end();
  });
}

std::string joined(const Words& words) {
  std::string text;
  for (const std::string& word : words) text += (text.empty() ? "" : " ") + word;
  return text;
}

Words without(Words words, std::initializer_list<const char*> some) {
  std::erase_if(words, [&some](const std::string& word) {
    return std::find(some.begin(), some.end(), word) != some.end();
  });
  return words;
}

// +1 up, −1 down, 0 where no way is named.
int way_of(const Words& words) {
  if (has(words, {"up", "higher", "louder", "+"})) return 1;
  if (has(words, {"down", "lower", "softer", "-"})) return -1;
  return 0;
}

bool begins_number(const std::string& word) {
  const std::size_t at = word[0] == '+' || word[0] == '-' ? 1 : 0;
  return at < word.size() && std::isdigit(static_cast<unsigned char>(word[at])) != 0;
}

// --- Keys ----------------------------------------------------------------------------------------

// Arrows, as a terminal sends them within a line [ECMA-48, CUU … CUB].
std::string arrows_as_keys(std::string typed) {
  constexpr std::pair<const char*, char> arrows[] = {
      {"\x1b[A", '+'}, {"\x1b[B", '-'}, {"\x1b[C", '>'}, {"\x1b[D", '<'},
      {"\x1bOA", '+'}, {"\x1bOB", '-'}, {"\x1bOC", '>'}, {"\x1bOD", '<'}};
  for (const auto& [code, key] : arrows) {
    for (auto at = typed.find(code); at != std::string::npos; at = typed.find(code))
      typed.replace(at, 3, 1, key);
  }
  return typed;
}

std::optional<CarWords> pressed(const std::string& typed) {
  const std::string keys = arrows_as_keys(typed);
  if (keys.empty() || keys.find_first_not_of("+-<>") != std::string::npos) return std::nullopt;
  const auto count = [&keys](char key) {
    return static_cast<int>(std::count(keys.begin(), keys.end(), key));
  };
  const int gain = count('>') - count('<');
  if (keys.find_first_of("<>") != std::string::npos)
    return TurnGain{std::nullopt, per_key * static_cast<double>(gain), {}};
  return TurnVolume{true, count('+') - count('-')};
}

// --- Volume and gain -----------------------------------------------------------------------------

int whole(const std::string& text, const std::string& typed) {
  int value = 0;
  const std::string digits = text.starts_with('+') ? text.substr(1) : text;
  const auto* const end = digits.data() + digits.size();
  const auto result = std::from_chars(digits.data(), end, value);
  constexpr int most = 1000;  // steps that a volume control may have
  if (result.ec == std::errc() && result.ptr == end && std::abs(value) <= most) return value;
  throw Error("'" + short_name(typed) + "' names no volume", "",
              "for example: volume 24, volume up 3");
}

TurnVolume volume_from(const Words& words, const std::string& typed) {
  const auto number = std::find_if(words.begin(), words.end(), begins_number);
  const int way = way_of(words);
  if (number == words.end()) {
    if (way != 0) return {true, way};
    throw Error("'" + short_name(typed) + "' does not say how far", "",
                "for example: volume 24, volume up 3");
  }
  const int value = whole(*number, typed);
  const bool by = way != 0 || !std::isdigit(static_cast<unsigned char>((*number)[0]));
  return {by, way < 0 ? -std::abs(value) : value};
}

// The number with its unit, which may be a word of its own.
std::string amount_in(Words& words) {
  const auto number = std::find_if(words.begin(), words.end(), begins_number);
  if (number == words.end()) return "";
  std::string amount = *number;
  const auto unit = number + 1;
  const bool own = unit != words.end() && (*unit == "db" || *unit == "%" || *unit == "percent");
  if (own) amount += *unit == "percent" ? "%" : *unit;
  words.erase(number, own ? unit + 1 : unit);
  return amount;
}

TurnGain gain_from(Words words, const std::string& typed) {
  const int way = way_of(words);
  const bool least = has(words, {"min", "minimum", "off"});
  const std::string amount = amount_in(words);
  words = without(words, {"gain", "control", "to", "up", "down", "higher", "lower", "+", "-", "min",
                          "minimum", "at", "off"});
  TurnGain turn;
  if (!words.empty()) turn.control = joined(words);
  if (least) return turn;
  if (amount.ends_with('%')) {
    turn.to = require_within(parse_quantity<Percent>(amount, "gain"), Percent(0.0), Percent(100.0),
                             "gain");
    return turn;
  }
  if (amount.empty() || (way == 0 && std::isdigit(static_cast<unsigned char>(amount[0])) != 0)) {
    throw Error("'" + short_name(typed) + "' does not say how far, or which way", "",
                "for example: gain front +2 dB, gain front 30 %");
  }
  const Decibels by = parse_quantity<Decibels>(amount, "gain");
  turn.by = way < 0 ? Decibels(-std::abs(by.value())) : by;
  return turn;
}

// --- Faults --------------------------------------------------------------------------------------

std::optional<MendFault> mended_at(const Words& words) {
  if (has(words, {"exchange", "swap"}))
    return MendFault{FaultKind::swapped,
                     joined(without(words, {"exchange", "swap", "left", "right"}))};
  if (has(words, {"reverse", "invert"}) || has(words, {"round", "around"}))
    return MendFault{FaultKind::inverted,
                     joined(without(words, {"reverse", "invert", "polarity", "round", "around"}))};
  if (has(words, {"connect"}))
    return MendFault{FaultKind::not_connected, joined(without(words, {"connect"}))};
  if (has(words, {"filter", "filters", "high-pass", "low-pass"}) && has(words, {"off", "out"}))
    return MendFault{
        FaultKind::filter_on,
        joined(without(words, {"filter", "filters", "high-pass", "low-pass", "off", "out", "at"}))};
  if (has(words, {"boost"}) && has(words, {"off", "out"})) {
    // "bass boost off" at the door amplifiers, "boost off bass" at the bass.
    Words where = without(words, {"boost", "off", "out", "at"});
    if (where.size() > 1 && where.front() == "bass") where.erase(where.begin());
    return MendFault{FaultKind::boost_on, joined(where)};
  }
  return std::nullopt;
}

std::optional<MendFault> mended_once(const Words& words) {
  if (has(words, {"unplug"})) return MendFault{FaultKind::hum, ""};
  if (has(words, {"level"}) && has(words, {"off"})) return MendFault{FaultKind::level_control, ""};
  const bool tone = has(words, {"tone", "tones", "loudness"});
  if (tone && has(words, {"flat", "off"})) return MendFault{FaultKind::tone_controls, ""};
  return std::nullopt;
}

}  // namespace

std::optional<CarWords> car_words(const std::string& typed) {
  if (auto keys = pressed(typed)) return keys;
  const Words words = words_of(typed);
  if (words.size() < 2) return std::nullopt;
  if (has(words, {"volume", "vol"})) return volume_from(words, typed);
  if (has(words, {"gain"})) return gain_from(words, typed);
  if (const auto mended = mended_at(words)) {
    if (!mended->where.empty()) return *mended;
    throw Error("'" + short_name(typed) + "' does not say where", "",
                "for example: exchange front");
  }
  if (const auto mended = mended_once(words)) return *mended;
  return std::nullopt;
}

std::vector<std::string> car_words_help() {
  return {
      "The virtual car: volume 24, volume up 3, or + and - for a step each; gain front +2 dB, gain "
      "front 30 %, or > and < for half a decibel at the present control.",
      "Faults are corrected by: exchange front (its left and right); reverse front left "
      "(plus "
      "and minus); connect front left; filter off front; boost off front; unplug the charger "
      "(hum); level control off; tone controls flat."};
}

}  // namespace railtap::command
