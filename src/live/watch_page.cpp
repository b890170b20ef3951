// SPDX-License-Identifier: MIT
// From a watch's view to the phone page, and back from its buttons to keys.
#include "live/watch_page.hpp"

#include <algorithm>
#include <cmath>

#include "judge/sentence.hpp"
#include "live/watch_view.hpp"
#include "units/print.hpp"

namespace railtap::live {
namespace {

using page::Emphasis;

// A figure that changes more often cannot be read from two metres.
constexpr std::chrono::milliseconds between_states{50};
// As many as a phone can show side by side.
constexpr std::size_t most_wave_points = 120;

Emphasis emphasis_of(Style style) {
  switch (style) {
    case Style::plain:
    case Style::heading:
    case Style::paper:
      return Emphasis::plain;
    case Style::faint:
      return Emphasis::faint;
    case Style::strong:
      return Emphasis::strong;
    case Style::good:
      return Emphasis::good;
    case Style::caution:
      return Emphasis::caution;
    case Style::alarm:
      return Emphasis::alarm;
  }
  return Emphasis::plain;
}

page::Way way_of(const std::optional<electric::Direction>& direction) {
  if (!direction) return page::Way::none;
  switch (*direction) {
    case electric::Direction::raise:
      return page::Way::raise;
    case electric::Direction::lower:
      return page::Way::lower;
    case electric::Direction::hold:
      return page::Way::hold;
  }
  return page::Way::none;
}

page::Rail rail_of(const char* name, const ChannelReading& reading,
                   const std::optional<Decibels>& over) {
  const RailLamp lamp = rail_lamp(reading, over);
  return {name, lamp.known ? lamp.text : "--", lamp.flat, emphasis_of(lamp.style)};
}

page::Bar bar_of(const ChannelReading& reading, const WatchView& view) {
  const LevelBar bar = level_bar(reading, view);
  return {bar.filled, bar.target, emphasis_of(bar.style)};
}

std::vector<page::Line> notes_of(const ChannelReading& reading, const WatchView& view) {
  const bool over_limit = style_of(reading) == Style::caution;
  const auto clean = highest_clean_text(reading, view);
  std::vector<page::Line> notes{
      {thdn_text(reading, view), over_limit ? Emphasis::caution : Emphasis::plain},
      {frequency_text(reading), Emphasis::plain},
      {clean.value_or("nothing clean yet"), clean ? Emphasis::plain : Emphasis::faint}};
  // Flat tops are told by the advice and the rails.
  if (const auto cause = cause_sentence(reading)) notes.push_back({*cause, Emphasis::plain});
  return notes;
}

// The cycle, full height for its peak, and every so many points of it.
std::vector<page::WavePoint> wave_of(const ChannelReading& reading) {
  double peak = 0.0;
  for (const auto& point : reading.cycle) peak = std::max(peak, std::abs(point.mean));
  std::vector<page::WavePoint> wave;
  if (peak <= 0.0) return wave;
  const std::size_t step = (reading.cycle.size() + most_wave_points - 1) / most_wave_points;
  for (std::size_t i = 0; i < reading.cycle.size(); i += step)
    wave.push_back({reading.cycle[i].phase, reading.cycle[i].mean / peak});
  return wave;
}

std::vector<page::Line> flags_of(const WatchView& view) {
  std::vector<page::Line> flags;
  if (view.places_with_losses > 0)
    flags.push_back({"SAMPLES LOST: " + std::to_string(view.places_with_losses), Emphasis::alarm});
  if (view.held) flags.push_back({"HELD", Emphasis::caution});
  if (view.ended) flags.push_back({"ENDED", Emphasis::caution});
  return flags;
}

std::vector<page::Button> buttons_of(const WatchView& view, bool knobs) {
  if (view.prompt) return {{"escape", "Cancel", false, false}};
  std::vector<page::Button> buttons;
  if (knobs) {
    buttons = {{"down", "Vol \u2212", false, false},
               {"up", "Vol +", false, false},
               {"left", "Gain \u2212", false, false},
               {"right", "Gain +", false, false}};
  }
  buttons.push_back({"h", "Hold", view.held, true});
  buttons.push_back({"t", "Target", false, false});
  if (view.readings.size() > 1) buttons.push_back({"n", "Next", false, false});
  buttons.push_back({"s", "Save", false, false});
  buttons.push_back({"r", "Reset", false, false});
  return buttons;
}

// "vol 30, gain 60 %" of "arrows: vol 30, gain 60 %": a phone has no arrow keys.
std::string without_keys(const std::string& knobs) {
  const auto colon = knobs.find(": ");
  return colon == std::string::npos ? knobs : knobs.substr(colon + 2);
}

}  // namespace

page::Meter meter_of(const ChannelReading& reading, const WatchView& view, bool in_focus) {
  page::Meter meter;
  meter.name = judge::channel_called(view.names, reading.channel);
  meter.in_focus = in_focus;
  meter.verdict = {heading_word(reading), emphasis_of(style_of(reading))};
  const Figures figures = figures_of(reading, view, 1);
  meter.digits = figures.digits;
  meter.unit = figures.unit;
  const Advice advice = advice_of(reading, view);
  meter.way = way_of(advice.direction);
  meter.advice = {advice.word.empty() ? advice.text : advice.word + " " + advice.text,
                  emphasis_of(advice.style)};
  meter.bar = bar_of(reading, view);
  const judge::FlatTop flat = flat_top_of(reading);
  meter.rails = {rail_of("rail +", reading, flat.overdrive_positive),
                 rail_of("rail \u2212", reading, flat.overdrive_negative)};
  meter.notes = notes_of(reading, view);
  meter.wave = wave_of(reading);
  meter.wave_emphasis = flat.present ? Emphasis::alarm : Emphasis::plain;
  return meter;
}

page::PageState page_state(const WatchView& view, bool knobs) {
  page::PageState state;
  state.title = view.source;
  state.subtitle = format_quantity(view.rate, 6) + "  " + format_fixed(view.time, 1);
  if (knobs) state.subtitle += "  " + without_keys(view.knobs);
  state.flags = flags_of(view);
  const std::size_t first = first_of_pair(view);
  const std::size_t focus = std::min(view.focus + 1, view.readings.size());  // from 1
  for (std::size_t i = first; i < std::min(first + 2, view.readings.size()); ++i)
    state.meters.push_back(meter_of(view.readings[i], view, i + 1 == focus));
  state.buttons = buttons_of(view, knobs);
  // A phone's keys for figures have no minus, which levels in dBFS need.
  if (view.prompt)
    state.question = page::Question{*view.prompt, "", view.volts_per_full_scale.has_value(), true};
  state.message = view.message;
  state.still = view.held || view.ended;
  return state;
}

std::optional<Key> key_of_button(const std::string& name) {
  static constexpr std::pair<std::string_view, Key> named[] = {{"up", KEY_UP},
                                                               {"down", KEY_DOWN},
                                                               {"left", KEY_LEFT},
                                                               {"right", KEY_RIGHT},
                                                               {"escape", escape_key}};
  for (const auto& [word, key] : named) {
    if (name == word) return key;
  }
  if (name.size() != 1) return std::nullopt;
  return static_cast<unsigned char>(name.front());
}

bool WatchPage::take_presses(WatchControl& control) {
  if (server_ == nullptr) return false;
  bool any = false;
  while (const auto press = server_->take()) {
    any = true;
    if (press->kind == page::Press::Kind::answer)
      control.answer(press->text);
    else if (const auto key = key_of_button(press->text))
      control.press(*key);
  }
  return any;
}

bool WatchPage::is_due() const {
  return server_ != nullptr && std::chrono::steady_clock::now() - shown_ >= between_states;
}

void WatchPage::show(const WatchView& view, bool knobs) {
  if (server_ != nullptr) publish(page_state(view, knobs));
}

void WatchPage::publish(const page::PageState& state) {
  if (server_ == nullptr) return;
  shown_ = std::chrono::steady_clock::now();
  server_->publish(state);
}

}  // namespace railtap::live
