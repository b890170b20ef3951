// SPDX-License-Identifier: MIT
// Pictures out of analysis and onset documents.
#include "report/pictures.hpp"

#include <algorithm>
#include <cmath>

#include "report/words.hpp"

namespace railtap::report {
namespace {

using svg::Axis;
using svg::Ink;
using svg::Plot;
using svg::Scale;

Plot plot_of(const PictureName& name, const std::string& part, const std::string& title) {
  Plot plot;
  plot.id = name.id + "-" + part;
  plot.title = name.subject.empty() ? title : title + ", " + name.subject;
  return plot;
}

/// A curve in volts where they are known, else in full scales of the recording.
struct Unit {
  std::string suffix = "_full_scale", label = "full scales of the recording";
};

Unit unit_of(const JsonView& curves, const std::string& key) {
  return curves[key + "_v"].size() > 0 ? Unit{"_v", "volts, peak"} : Unit{};
}

void take_in(std::vector<double>& all, const std::vector<double>& more) {
  all.insert(all.end(), more.begin(), more.end());
}

Axis frequency_axis() {
  return {"Hz", Scale::logarithmic, 20.0, 20000.0, 0.0};
}

/// A mark with its number in the key.
void add_mark(Plot& plot, const std::string& word, const Shown& number, double at, bool upright,
              Ink ink) {
  plot.marks.push_back({at, word + " " + number.shown, upright, ink, number.value, number.pointer});
}

void add_rail(Plot& plot, const JsonView& rail, const std::string& word, bool in_volts) {
  const auto at = rail.number();
  if (at) add_mark(plot, word, in_volts ? volts(rail) : plain(rail), *at, false, Ink::third);
}

std::string rails_sentence(const JsonView& flat_top) {
  std::string out;
  for (const char* side : {"positive", "negative"}) {
    const auto over = flat_top[std::string("overdrive_") + side + "_db"];
    out += std::string(" The ") + side + " rail is ";
    out += over.known() ? "exceeded by " + overdrive(over).shown + "." : "not reached.";
  }
  return out;
}

// --- onset ---------------------------------------------------------------------------------------

/// Levels of steps: what was fed in where it is known, else what came out.
struct StepAxis {
  std::string key, label;
};

StepAxis step_axis(const JsonView& channel) {
  const JsonView first = channel["steps"][0];
  if (first["level_v"].number()) return {"level_v", "level, volts"};
  if (first["input_dbfs"].number()) return {"input_dbfs", "level of the tone, dBFS"};
  return {"level_dbfs", "level of the recording, dBFS"};
}

/// Steps with a tone, by rising level.
struct StepPoints {
  std::vector<double> level, thdn;
};

StepPoints step_points(const JsonView& channel, const std::string& key) {
  std::vector<std::pair<double, double>> pairs;
  for (const JsonView& step : channel["steps"].elements()) {
    const auto level = step[key].number(), thdn = step["thdn_percent"].number();
    if (level && thdn && *thdn > 0.0) pairs.emplace_back(*level, *thdn);
  }
  std::sort(pairs.begin(), pairs.end());
  StepPoints points;
  for (const auto& [level, thdn] : pairs) {
    points.level.push_back(level);
    points.thdn.push_back(thdn);
  }
  return points;
}

struct OnsetWord {
  const char* key;
  const char* word;
  Ink ink;
};
constexpr OnsetWord onset_words[] = {{"flat_top", "clips", Ink::second},
                                     {"thdn", "reaches the limit", Ink::third},
                                     {"compression", "compresses", Ink::quiet}};

Shown level_of(const JsonView& place, const std::string& key) {
  return key == "level_v" ? volts(place[key]) : dbfs(place[key]);
}

void mark_onsets(Plot& plot, const JsonView& channel, const std::string& key) {
  for (const OnsetWord& onset : onset_words) {
    const JsonView place = channel["onset"][onset.key];
    const auto at = place[key].number();
    if (!at) continue;
    add_mark(plot, onset.word, level_of(place, key), *at, true, onset.ink);
    plot.description += " " + plot.marks.back().text + ".";
  }
}

// --- level in time -------------------------------------------------------------------------------

struct LevelSteps {
  std::vector<double> time, level;
};

LevelSteps level_steps(const JsonView& list, const std::string& key) {
  LevelSteps steps;
  for (const JsonView& step : list.elements()) {
    const auto start = step["start_s"].number(), end = step["end_s"].number();
    const auto level = step[key].number();
    if (!start || !end || !level) continue;
    steps.time.insert(steps.time.end(), {*start, *end});
    steps.level.insert(steps.level.end(), {*level, *level});
  }
  return steps;
}

void add_channel(std::vector<Plot>& plots, const JsonView& document, const JsonView& channel) {
  const auto number = channel["channel"].number();
  const std::string index = number ? std::to_string(static_cast<int>(*number)) : "0";
  const std::string called = channel["name"].text();
  const PictureName name{"channel" + index, called.empty() ? "channel " + index : called};
  for (auto& plot : {cycle_picture(channel, name), transfer_picture(channel, name),
                     distortion_picture(channel, document["limit_thdn_percent"], name),
                     spectrum_picture(channel, name), level_picture(channel, name)}) {
    if (plot) plots.push_back(*plot);
  }
}

}  // namespace

std::optional<Plot> cycle_picture(const JsonView& channel, const PictureName& name) {
  const JsonView cycle = channel["curves"]["cycle"];
  if (cycle["mean_full_scale"].size() == 0) return std::nullopt;
  Plot plot = plot_of(name, "cycle", "One cycle");
  const Unit unit = unit_of(cycle, "mean");
  const auto phase = cycle["phase_deg"].numbers();
  const auto low = cycle["low" + unit.suffix].numbers(),
             high = cycle["high" + unit.suffix].numbers();
  const auto sine = cycle["sine" + unit.suffix].numbers();
  plot.bands.push_back({phase, low, high});
  if (!sine.empty()) plot.lines.push_back({"without the rails", Ink::second, phase, sine});
  plot.lines.insert(plot.lines.begin(),
                    {"measured", Ink::first, phase, cycle["mean" + unit.suffix].numbers()});
  std::vector<double> values = low;
  take_in(values, high);
  take_in(values, sine);
  plot.x = {"degrees of the cycle", Scale::linear, 0.0, 360.0, 90.0};
  plot.y = svg::linear_axis(unit.label, values);
  const bool in_volts = unit.suffix == "_v";
  add_rail(plot, cycle["positive_rail" + unit.suffix], "positive rail", in_volts);
  add_rail(plot, cycle["negative_rail" + unit.suffix], "negative rail", in_volts);
  plot.description = "All cycles of the tone laid over each other, from 0 to 360 degrees, in " +
                     unit.label + "." + rails_sentence(channel["flat_top"]);
  return plot;
}

std::optional<Plot> transfer_picture(const JsonView& channel, const PictureName& name) {
  const JsonView transfer = channel["curves"]["transfer"];
  if (transfer["input_ratio"].size() == 0) return std::nullopt;
  Plot plot = plot_of(name, "transfer", "Transfer curve");
  const Unit unit = unit_of(transfer, "rising");
  const auto input = transfer["input_ratio"].numbers();
  const auto rising = transfer["rising" + unit.suffix].numbers();
  const auto falling = transfer["falling" + unit.suffix].numbers();
  plot.lines.push_back({"while it rises", Ink::first, input, rising});
  plot.lines.push_back({"while it falls", Ink::second, input, falling});
  std::vector<double> values = rising;
  take_in(values, falling);
  plot.x = {"input, as a share of the sine's peak", Scale::linear, -1.0, 1.0, 0.5};
  plot.y = svg::linear_axis(unit.label, values);
  plot.description =
      "The output, in " + unit.label +
      ", against the sine that goes in. A straight line is a clean stage; a bend to the level is a "
      "rail." +
      rails_sentence(channel["flat_top"]);
  return plot;
}

std::optional<Plot> spectrum_picture(const JsonView& channel, const PictureName& name) {
  const JsonView spectrum = channel["curves"]["spectrum"];
  const auto levels = spectrum["level_dbfs"].numbers();
  if (levels.empty()) return std::nullopt;
  Plot plot = plot_of(name, "spectrum", "Spectrum");
  plot.lines.push_back({"", Ink::first, spectrum["frequency_hz"].numbers(), levels});
  constexpr double decibels_per_mark = 20.0, highest = 0.0, least_range = 80.0;
  const double lowest = *std::min_element(levels.begin(), levels.end());
  plot.x = frequency_axis();
  const double low = decibels_per_mark * std::floor(lowest / decibels_per_mark);
  plot.y = {"dBFS, each point over " + hertz(spectrum["resolution_hz"]).shown, Scale::linear,
            std::min(low, highest - least_range), highest, decibels_per_mark};
  plot.description = "Levels from 20 Hz to 20 kHz in dBFS.";
  const auto frequency = channel["frequency_hz"];
  if (frequency.known()) {
    plot.description += " The tone is at " + hertz(frequency).shown + ", " +
                        dbfs(channel["level_dbfs"]).shown + "; THD+N is " +
                        percent(channel["thdn_percent"]).shown + ".";
  }
  return plot;
}

std::optional<Plot> level_picture(const JsonView& channel, const PictureName& name) {
  const JsonView list = channel["steps"].size() > 1 ? channel["steps"] : channel["segments"];
  const bool in_volts = list[0]["level_v"].number().has_value();
  const LevelSteps steps = level_steps(list, in_volts ? "level_v" : "level_dbfs");
  if (steps.time.size() < 4) return std::nullopt;  // two steps
  Plot plot = plot_of(name, "level", "Level in time");
  plot.lines.push_back({"", Ink::first, steps.time, steps.level});
  plot.x = svg::linear_axis("seconds", steps.time);
  plot.y = svg::linear_axis(in_volts ? "volts" : "dBFS", steps.level);
  plot.description = "The level of each steady stretch of the recording, in time.";
  return plot;
}

std::optional<Plot> distortion_picture(const JsonView& channel, const JsonView& limit_percent,
                                       const PictureName& name) {
  if (channel["steps"].size() == 0) return std::nullopt;
  const StepAxis axis = step_axis(channel);
  const StepPoints points = step_points(channel, axis.key);
  if (points.level.size() < 2) return std::nullopt;
  Plot plot = plot_of(name, "distortion", "THD+N against level");
  plot.lines.push_back({"measured", Ink::first, points.level, points.thdn, true, true});
  std::vector<double> values = points.thdn;
  const auto limit = limit_percent.number();
  if (limit) values.push_back(*limit);
  plot.x = svg::linear_axis(axis.label, points.level);
  plot.y = svg::logarithmic_axis("THD+N, %", values);
  plot.description = "THD+N of each step in percent, against its level.";
  if (limit) add_mark(plot, "limit", percent(limit_percent), *limit, false, Ink::first);
  mark_onsets(plot, channel, axis.key);
  return plot;
}

namespace {

// A flat response should look flat: at least 6 dB to either side of its middle.
svg::Axis response_axis(std::vector<double> level) {
  constexpr double room_db = 6.0;
  const auto [low, high] = std::minmax_element(level.begin(), level.end());
  const double middle = 0.5 * (*low + *high);
  level.push_back(middle - room_db);
  level.push_back(middle + room_db);
  return svg::linear_axis("dB re the track", level);
}

svg::Line response_line(const JsonView& points, const char* key) {
  svg::Line line;
  for (const JsonView& point : points.elements()) {
    const auto hz = point["frequency_hz"].number(), db = point[key].number();
    if (!hz || !db) continue;
    line.x.push_back(*hz);
    line.y.push_back(*db);
  }
  return line;
}

}  // namespace

std::optional<Plot> response_picture(const JsonView& points, const JsonView& tones,
                                     const PictureName& name) {
  svg::Line swept = response_line(points, "magnitude_db"),
            steady = response_line(tones, "response_db");
  std::vector<double> level = swept.y;
  level.insert(level.end(), steady.y.begin(), steady.y.end());
  if (level.size() < 2) return std::nullopt;
  Plot plot = plot_of(name, "response", "Response");
  plot.x = frequency_axis();
  plot.y = response_axis(std::move(level));
  plot.description =
      "Level against frequency in decibels over the level in the track, from 20 Hz to 20 kHz.";
  if (!swept.x.empty()) plot.lines.push_back(std::move(swept));
  if (steady.x.empty()) return plot;
  steady.name = "steady tones";
  steady.ink = Ink::second;
  steady.joined = false;
  steady.markers = true;
  plot.lines.push_back(std::move(steady));
  plot.description += " Steady tones in the bass are marked.";
  return plot;
}

std::vector<Plot> pictures_of(const system::Json& json) {
  const JsonView document(json);
  std::vector<Plot> plots;
  for (const JsonView& channel : document["channels"].elements()) {
    add_channel(plots, document, channel);
  }
  return plots;
}

}  // namespace railtap::report
