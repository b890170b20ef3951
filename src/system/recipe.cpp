// SPDX-License-Identifier: MIT
// Recipes: TOML to tracks.
#include "system/recipe.hpp"

#include <algorithm>
#include <functional>
#include <utility>

#include "files/toml_table.hpp"
#include "system/json.hpp"
#include "units/print.hpp"

namespace railtap::system {
namespace {

using namespace railtap::signal;
using files::above_zero;
using files::Range;
using files::TomlTable;

constexpr std::size_t most_tracks = 99;  // two digits in the file names

Hertz hertz(TomlTable& part, std::string_view key) {
  return Hertz(part.required_number(key, {above_zero}));
}
Dbfs dbfs(TomlTable& part, std::string_view key) {
  constexpr Range levels{-140.0, 0.0};
  return Dbfs(part.required_number(key, levels));
}
Seconds seconds(TomlTable& part, std::string_view key) {
  return Seconds(part.required_number(key, {above_zero}));
}

SteppedSine read_stepped(TomlTable& part) {
  SteppedSine stepped;
  for (const double frequency_hz : part.numbers("frequencies_hz", {above_zero}))
    stepped.frequencies.emplace_back(frequency_hz);
  if (stepped.frequencies.empty()) {
    throw part.error("frequencies_hz", "frequencies_hz is missing or empty",
                     "write for example frequencies_hz = [40, 50, 63]");
  }
  stepped.level = dbfs(part, "level_dbfs");
  stepped.dwell = seconds(part, "dwell_s");
  return stepped;
}

LevelLadder read_ladder(TomlTable& part) {
  LevelLadder ladder{hertz(part, "frequency_hz"), dbfs(part, "start_dbfs"), dbfs(part, "stop_dbfs"),
                     Decibels(part.required_number("step_db", {above_zero})),
                     seconds(part, "dwell_s")};
  try {
    (void)ladder_steps(ladder);
  } catch (const Error& error) {
    throw part.error("step_db", error.problem(), error.remedy());
  }
  return ladder;
}

const std::vector<std::pair<std::string, std::function<Signal(TomlTable&)>>>& readers() {
  static const std::vector<std::pair<std::string, std::function<Signal(TomlTable&)>>> table{
      {"sine",
       [](TomlTable& t) {
         return Sine{hertz(t, "frequency_hz"), dbfs(t, "level_dbfs"), seconds(t, "length_s")};
       }},
      {"ladder", read_ladder},
      {"stepped", read_stepped},
      {"sweep",
       [](TomlTable& t) {
         return LogSweep{hertz(t, "low_hz"), hertz(t, "high_hz"), dbfs(t, "level_dbfs"),
                         seconds(t, "length_s")};
       }},
      {"two-tone",
       [](TomlTable& t) {
         const double ratio = t.number("ratio", {above_zero}).value_or(1.0);
         return TwoTone{hertz(t, "first_hz"), hertz(t, "second_hz"), ratio, dbfs(t, "level_dbfs"),
                        seconds(t, "length_s")};
       }},
      {"pink-noise",
       [](TomlTable& t) {
         return PinkNoise{hertz(t, "low_hz"), hertz(t, "high_hz"), dbfs(t, "level_dbfs"),
                          seconds(t, "length_s")};
       }},
      {"silence", [](TomlTable& t) { return Silence{seconds(t, "length_s")}; }},
      {"polarity",
       [](TomlTable& t) {
         return PolarityPulses{hertz(t, "frequency_hz"), dbfs(t, "level_dbfs"),
                               seconds(t, "length_s")};
       }},
      {"channels", [](TomlTable& t) { return ChannelPattern{dbfs(t, "level_dbfs")}; }},
  };
  return table;
}

Signal read_signal(TomlTable& table) {
  const std::string kind = table.required_text("signal");
  std::vector<std::string> names;
  for (const auto& [name, read] : readers()) {
    if (name == kind) return read(table);
    names.push_back(name);
  }
  throw table.error("signal", "signal '" + kind + "' is unknown", "give one of: " + listed(names));
}

Part read_part(TomlTable table) {
  Part part{read_signal(table)};
  part.channels = static_cast<Channels>(table.choice("channels", {"both", "left", "right"}));
  part.marker = static_cast<MarkerBand>(table.choice("marker", {"none", "mid", "low"}));
  table.finish();
  return part;
}

bool usable_name(const std::string& name) {
  return std::all_of(name.begin(), name.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
  });
}

Track read_track(TomlTable table) {
  Track track;
  track.name = table.required_text("name");
  if (!usable_name(track.name)) {
    throw table.error("name", "the name '" + track.name + "' cannot be part of a file name",
                      "use lower-case letters, digits and '-'");
  }
  track.title = table.text("title").value_or(track.name);
  track.purpose = table.text("purpose").value_or("");
  track.reading = table.text("reading").value_or("");
  track.caution = table.text("caution").value_or("");
  for (TomlTable& part : table.tables("part")) track.parts.push_back(read_part(std::move(part)));
  if (track.parts.empty()) {
    throw table.error("part", "track '" + track.name + "' has no part",
                      "write part = [{ signal = \"sine\", frequency_hz = 1000, level_dbfs = -20, "
                      "length_s = 30 }]");
  }
  table.finish();
  return track;
}

void require_new_name(const Kit& kit, const std::string& name, const std::string& place) {
  for (const Track& track : kit.tracks) {
    if (track.name == name)
      throw Error("two tracks are called '" + name + "'", place, "give each its own name");
  }
}

}  // namespace

Kit parse_recipe(std::string_view text, const std::string& place) {
  const toml::table document =
      files::parse_toml(text, place, "correct that line; testsignals/README.md shows the form");
  TomlTable table(document, "", place, "testsignals/README.md");
  require_schema(table.text("schema"), "railtap.recipe", 1, place);
  Kit kit;
  kit.title = table.text("title").value_or("test tones");
  for (TomlTable& entry : table.tables("track")) {
    Track track = read_track(std::move(entry));
    require_new_name(kit, track.name, place);
    kit.tracks.push_back(std::move(track));
  }
  if (kit.tracks.empty() || kit.tracks.size() > most_tracks) {
    throw Error("has " + std::to_string(kit.tracks.size()) + " tracks", place,
                "give 1 to " + std::to_string(most_tracks) + " tables [[track]]");
  }
  table.finish();
  return kit;
}

}  // namespace railtap::system
