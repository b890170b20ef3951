// SPDX-License-Identifier: MIT
// The described system: what is in the vehicle, as TOML with the schema railtap.system/1, and the
// names of its channels as entries of a record refer to them.
#include "system/system_description.hpp"

#include <algorithm>
#include <utility>

#include "files/atomic_file.hpp"
#include "files/toml_table.hpp"
#include "system/json.hpp"
#include "units/error.hpp"

namespace railtap::system {

// The described system: from TOML to what it says.

namespace {

using files::Range;
using files::TomlTable;

constexpr std::string_view kind = "railtap.system";
constexpr int version = 1;
constexpr std::size_t most_bytes = 1'000'000;  // a described system has a few thousand
const char* const guide = "docs/formats.md";

// What no vehicle has is a typing mistake: 4kohm for 4ohm.
constexpr Range volts{0.001, 1000.0};
constexpr Range watts{0.001, 100'000.0};
constexpr Range loads{0.1, 1000.0};
constexpr Range amperes{0.01, 10'000.0};
constexpr Range resistors{0.1, 100e6};
constexpr Range lengths{0.01, 100.0};
constexpr Range tones{1.0, 100'000.0};
constexpr Range tone_levels{-40.0, 0.0};
constexpr Range decibels{0.0, 20.0};
constexpr Range sensitivities{40.0, 140.0};
constexpr Range percent{0.001, 100.0};
constexpr Range steps{1.0, 1000.0};
constexpr Range in_parallel{1.0, 16.0};

Json json_of(const toml::node& node) {
  if (const auto* table = node.as_table()) {
    Json object = Json::object();
    for (const auto& [key, value] : *table) object.set(std::string(key.str()), json_of(value));
    return object;
  }
  if (const auto* array = node.as_array()) {
    Json list = Json::array();
    for (const toml::node& value : *array) list.push_back(json_of(value));
    return list;
  }
  if (const auto text = node.value_exact<std::string>()) return *text;
  if (const auto truth = node.value_exact<bool>()) return *truth;
  if (const auto whole = node.value_exact<std::int64_t>()) return *whole;
  if (const auto number = node.value_exact<double>()) return *number;
  return nullptr;  // dates and times: no key takes them
}

/// \throws Error where `name` is not among those that are described
void require_described(const TomlTable& table, std::string_view key, const std::string& name,
                       const std::vector<std::string>& described, const std::string& what) {
  if (std::find(described.begin(), described.end(), name) != described.end()) return;
  const std::string guess = files::nearest_word(name, described);
  throw table.error(key, table.full(key) + ": there is no " + what + " \"" + name + "\"",
                    guess.empty() ? "describe it in the file" : "did you mean \"" + guess + "\"?");
}

std::string new_name(TomlTable& table, std::vector<std::string>& taken, const std::string& what) {
  std::string name = table.required_text("name");
  if (std::find(taken.begin(), taken.end(), name) != taken.end()) {
    throw table.error("name", "two " + what + "s are called \"" + name + "\"",
                      "give each its own name");
  }
  taken.push_back(name);
  return name;
}

electric::Gauge read_gauge(TomlTable& table) {
  const std::string text = table.required_text("gauge");
  try {
    return electric::parse_gauge(text, "gauge");
  } catch (const Error& mistake) {
    throw table.error("gauge", table.full("gauge") + ": " + mistake.problem(), mistake.remedy());
  }
}

Cable read_cable(TomlTable& table) {
  Cable cable;
  cable.gauge = read_gauge(table);
  cable.length = table.required_quantity<Metres>("length", lengths);
  cable.chassis_return = table.choice("return", {"cable", "chassis"}) == 1;
  return cable;
}

Supply read_supply(TomlTable table, std::vector<std::string>& names) {
  Supply supply;
  table.set_quantity("running", supply.running, volts);
  supply.while_setting = table.quantity<Volts>("while_setting", volts);
  supply.available = table.quantity<Amperes>("available", amperes);
  for (TomlTable& part : table.tables("feed")) {
    Feed feed;
    feed.name = new_name(part, names, "feed");
    feed.cable = read_cable(part);
    feed.fuse = part.quantity<Amperes>("fuse", amperes);
    feed.ampacity = part.quantity<Amperes>("ampacity", amperes);
    part.finish();
    supply.feeds.push_back(std::move(feed));
  }
  table.finish();
  return supply;
}

HeadUnit read_head_unit(TomlTable table) {
  HeadUnit unit;
  unit.name = table.text("name").value_or("head unit");
  unit.volume_steps = static_cast<int>(table.integer("volume_steps", steps).value_or(0));
  if (unit.volume_steps == 0) throw table.missing("volume_steps");
  unit.outputs = table.texts("outputs");
  if (unit.outputs.empty()) throw table.missing("outputs");
  table.set("bridge_tied", unit.bridge_tied);
  unit.clean_output = table.quantity<Volts>("clean_output", volts);
  if (const auto step = table.integer("clean_step", {0.0, static_cast<double>(unit.volume_steps)}))
    unit.clean_step = static_cast<int>(*step);
  table.finish();
  return unit;
}

std::vector<Speaker> read_speakers(TomlTable& document, std::vector<std::string>& names) {
  std::vector<Speaker> speakers;
  for (TomlTable& table : document.tables("speaker")) {
    Speaker speaker;
    speaker.name = new_name(table, names, "speaker");
    speaker.impedance = table.required_quantity<Ohms>("impedance", loads);
    speaker.power = table.quantity<Watts>("power", watts);
    speaker.sensitivity = table.quantity<Decibels>("sensitivity", sensitivities);
    table.finish();
    speakers.push_back(std::move(speaker));
  }
  return speakers;
}

/// Names that others refer to.
struct Names {
  std::vector<std::string> feeds, speakers, amplifiers, channels, outputs;
};

std::optional<Cable> read_speaker_cable(TomlTable& channel) {
  if (!channel.has("cable")) return std::nullopt;
  TomlTable table = channel.table("cable");
  const Cable cable = read_cable(table);
  table.finish();
  return cable;
}

AmplifierChannel read_channel(TomlTable& table, Names& names) {
  AmplifierChannel channel;
  channel.name = new_name(table, names.channels, "channel");
  channel.role = table.choice("role", {"doors", "bass"}) == 1 ? Role::bass : Role::doors;
  channel.rated_power = table.required_quantity<Watts>("rated_power", watts);
  channel.rated_load = table.required_quantity<Ohms>("rated_load", loads);
  channel.speaker = table.required_text("speaker");
  require_described(table, "speaker", channel.speaker, names.speakers, "speaker");
  channel.speakers = static_cast<int>(table.integer("speakers", in_parallel).value_or(1));
  channel.inputs = table.texts("inputs");
  if (channel.inputs.empty()) throw table.missing("inputs");
  for (const std::string& input : channel.inputs)
    require_described(table, "inputs", input, names.outputs, "output of the head unit");
  channel.control = table.text("control").value_or(channel.name);
  table.set("bridged", channel.bridged);
  channel.tone = table.quantity<Hertz>("tone", tones);
  channel.switches = table.texts("switches");
  channel.cable = read_speaker_cable(table);
  table.finish();
  return channel;
}

void read_ratings(TomlTable& table, Amplifier& amplifier) {
  table.set_quantity("rated_supply", amplifier.rated_supply, volts);
  table.set_quantity("rated_thdn", amplifier.rated_thdn, percent);
  amplifier.sensitivity_low = table.required_quantity<Volts>("sensitivity_low", volts);
  amplifier.sensitivity_high = table.required_quantity<Volts>("sensitivity_high", volts);
  if (amplifier.sensitivity_high <= amplifier.sensitivity_low) {
    throw table.error("sensitivity_high", "sensitivity_high is not above sensitivity_low",
                      "low is the input for rated power with the gain fully up, high with it down");
  }
  amplifier.efficiency = table.quantity<Percent>("efficiency", percent);
  amplifier.class_d = table.choice("class", {"D", "AB"}) == 0;
  table.set("regulated", amplifier.regulated);
}

Amplifier read_amplifier(TomlTable& table, Names& names) {
  Amplifier amplifier;
  amplifier.name = new_name(table, names.amplifiers, "amplifier");
  read_ratings(table, amplifier);
  table.set("bridge_tied", amplifier.bridge_tied);
  table.set("speaker_level", amplifier.speaker_level);
  amplifier.feed = table.text("feed").value_or("");
  if (!amplifier.feed.empty())
    require_described(table, "feed", amplifier.feed, names.feeds, "[[supply.feed]]");
  amplifier.fuse = table.quantity<Amperes>("fuse", amperes);
  amplifier.switches = table.texts("switches");
  for (TomlTable& channel : table.tables("channel"))
    amplifier.channels.push_back(read_channel(channel, names));
  if (amplifier.channels.empty()) {
    throw table.error("channel", "amplifier \"" + amplifier.name + "\" has no channel",
                      "write [[amplifier.channel]] below it, once for each");
  }
  table.finish();
  return amplifier;
}

std::optional<electric::Meter> read_meter(TomlTable table) {
  const auto text = table.text("text");
  table.finish();
  if (!text) return std::nullopt;
  try {
    return electric::parse_meter(*text, "text");
  } catch (const Error& mistake) {
    throw table.error("text", table.full("text") + ": " + mistake.problem(), mistake.remedy());
  }
}

SoundInterface read_interface(TomlTable table) {
  SoundInterface input;
  input.name = table.text("name").value_or("");
  input.full_scale = table.quantity<Volts>("full_scale", volts);
  input.input_resistance = table.quantity<Ohms>("input_resistance", resistors);
  input.plug_in_power = table.quantity<Volts>("plug_in_power", volts);
  table.finish();
  return input;
}

DescribedTap read_attenuator(TomlTable table) {
  DescribedTap tap;
  tap.series_each = table.required_quantity<Ohms>("series_each", resistors);
  tap.shunt = table.required_quantity<Ohms>("shunt", resistors);
  table.set("bridge_tied", tap.bridge_tied);
  table.finish();
  return tap;
}

void read_setup(TomlTable table, SystemDescription& system) {
  table.set_quantity("tone_level", system.tone_level, tone_levels);
  table.set_quantity("tolerance", system.tolerance, decibels);
  table.finish();
}

/// Whose the vehicle is and who did the work: for the sheet, which takes it from the document.
void read_job(TomlTable table) {
  for (const char* key : {"vehicle", "owner", "installer", "date"}) (void)table.text(key);
  table.finish();
}

}  // namespace

SystemDescription parse_system(std::string_view text, const std::string& place) {
  const toml::table root = files::parse_toml(
      text, place, "correct that line; values with a unit are written in quotes, like \"55W\"");
  TomlTable document(root, "", place, guide);
  require_schema(document.text("schema"), kind, version, place);
  SystemDescription system;
  Names names;
  system.name = document.required_text("name");
  read_job(document.table("job"));
  read_setup(document.table("setup"), system);
  system.supply = read_supply(document.table("supply"), names.feeds);
  if (!document.has("head_unit")) throw document.missing("head_unit");
  system.head_unit = read_head_unit(document.table("head_unit"));
  names.outputs = system.head_unit.outputs;
  system.speakers = read_speakers(document, names.speakers);
  for (TomlTable& amplifier : document.tables("amplifier"))
    system.amplifiers.push_back(read_amplifier(amplifier, names));
  if (system.amplifiers.empty()) throw document.missing("amplifier");
  system.meter = read_meter(document.table("meter"));
  system.sound_interface = read_interface(document.table("sound_interface"));
  if (document.has("attenuator")) system.attenuator = read_attenuator(document.table("attenuator"));
  document.finish();
  system.document = json_of(root);
  return system;
}

SystemDescription read_system(const std::filesystem::path& path) {
  return parse_system(files::read_file(path, most_bytes), path.string());
}

const Speaker& speaker_of(const SystemDescription& system, const AmplifierChannel& channel) {
  const auto found =
      std::find_if(system.speakers.begin(), system.speakers.end(),
                   [&channel](const Speaker& speaker) { return speaker.name == channel.speaker; });
  if (found == system.speakers.end())
    throw Error("there is no speaker \"" + channel.speaker + "\"", channel.name, "describe it");
  return *found;
}

// Looking up channels by their gain control or their own name.

std::vector<std::string> channel_names(const JsonView& system, const std::string& subject) {
  if (subject.empty()) return {};
  std::vector<std::string> of_control;
  for (const JsonView& amplifier : system["amplifier"].elements()) {
    for (const JsonView& channel : amplifier["channel"].elements()) {
      const std::string name = channel["name"].text();
      if (name.empty()) continue;
      if (name == subject) return {name};
      if (channel["control"].text() == subject) of_control.push_back(name);
    }
  }
  return of_control;
}

}  // namespace railtap::system
