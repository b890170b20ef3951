// SPDX-License-Identifier: MIT
// What the phone page shows at one moment, in words and shares that need no more computing, and the
// document that is sent to it.
#include "page/page_state.hpp"

#include <cmath>

#include "system/json.hpp"
#include "units/visible.hpp"

namespace railtap::page {
namespace {

using system::Json;

// A thousandth of the width is less than a dot on a phone; fewer characters to send.
constexpr double parts = 1000.0;

Json in_parts(double share) {
  if (!std::isfinite(share)) return nullptr;
  return static_cast<std::int64_t>(std::lround(share * parts));
}

const char* name(Emphasis emphasis) {
  switch (emphasis) {
    case Emphasis::plain:
      return "plain";
    case Emphasis::faint:
      return "faint";
    case Emphasis::strong:
      return "strong";
    case Emphasis::good:
      return "good";
    case Emphasis::caution:
      return "caution";
    case Emphasis::alarm:
      return "alarm";
  }
  return "plain";
}

const char* name(Way way) {
  switch (way) {
    case Way::none:
      return "none";
    case Way::raise:
      return "raise";
    case Way::lower:
      return "lower";
    case Way::hold:
      return "hold";
  }
  return "none";
}

// Declared before the lists that are made of it.
Json json_of(const Meter& meter);

Json json_of(const std::string& text) {
  return shown_text(text);
}

Json json_of(const Line& line) {
  return {{"text", json_of(line.text)}, {"look", name(line.emphasis)}};
}

Json json_of(const Bar& bar) {
  return {{"filled", in_parts(bar.filled)},
          {"mark", bar.mark ? in_parts(*bar.mark) : Json(nullptr)},
          {"look", name(bar.emphasis)}};
}

Json json_of(const Rail& rail) {
  return {{"name", json_of(rail.name)},
          {"text", json_of(rail.text)},
          {"lit", rail.lit},
          {"look", name(rail.emphasis)}};
}

Json json_of(const Button& button) {
  return {{"key", json_of(button.key)},
          {"label", json_of(button.label)},
          {"down", button.down},
          {"main", button.main}};
}

Json json_of(const Question& question) {
  return {{"text", json_of(question.text)},
          {"typed", json_of(question.typed)},
          {"figures", question.figures},
          {"at_once", question.at_once}};
}

template <class Item>
Json list_of(const std::vector<Item>& items) {
  Json list = Json::array();
  for (const Item& item : items) list.push_back(json_of(item));
  return list;
}

// x and y by turns.
Json json_of(const std::vector<WavePoint>& wave) {
  Json list = Json::array();
  for (const WavePoint& point : wave) {
    list.push_back(in_parts(point.across));
    list.push_back(in_parts(point.up));
  }
  return list;
}

Json json_of(const Meter& meter) {
  return {
      {"name", json_of(meter.name)},       {"focus", meter.in_focus},
      {"verdict", json_of(meter.verdict)}, {"digits", json_of(meter.digits)},
      {"unit", json_of(meter.unit)},       {"way", name(meter.way)},
      {"advice", json_of(meter.advice)},   {"bar", meter.bar ? json_of(*meter.bar) : Json(nullptr)},
      {"rails", list_of(meter.rails)},     {"notes", list_of(meter.notes)},
      {"wave", json_of(meter.wave)},       {"wave_look", name(meter.wave_emphasis)}};
}

}  // namespace

std::string shown_text(const std::string& text) {
  std::string shown;
  std::size_t at = 0;
  for (std::size_t count = 0; at < text.size(); ++count) {
    if (count == longest_text) return shown + "\u2026";
    const Character character = character_at(text, at);
    const bool hidden =
        !character.well_formed || is_control(character.code) || turns_direction(character.code);
    shown += hidden ? "\uFFFD" : text.substr(at, character.bytes);
    at += character.bytes;
  }
  return shown;
}

std::string page_json(const PageState& state) {
  Json json;
  json.set("title", json_of(state.title));
  json.set("subtitle", json_of(state.subtitle));
  json.set("flags", list_of(state.flags));
  json.set("instructions", list_of(state.instructions));
  json.set("meters", list_of(state.meters));
  json.set("buttons", list_of(state.buttons));
  json.set("question", state.question ? json_of(*state.question) : Json(nullptr));
  json.set("message", json_of(state.message));
  json.set("still", state.still);
  json.set("step", state.step);
  return json.line();
}

}  // namespace railtap::page
