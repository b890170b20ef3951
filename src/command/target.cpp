// SPDX-License-Identifier: MIT
// `railtap target`: the AC voltage to set, and what a meter's reading says about it.
#include <iostream>
#include <memory>
#include <string>
#include <vector>

#include "command/command.hpp"
#include "command/result_options.hpp"
#include "electric/target.hpp"
#include "report/target.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::command {
namespace {

struct TargetOptions {
  std::optional<Watts> power;
  std::optional<Ohms> load;
  std::optional<Watts> speaker_power;
  std::string reading, meter;
  std::vector<std::string> channels;
  bool bridged = false, json = false;
  electric::Conditions conditions;
  RecordingOptions recording;
};

void add_options(Command& command, TargetOptions& options) {
  command.quantity("--power", options.power, "The amplifier's rated power per channel");
  command.quantity("--load", options.load, "The load it is rated into and will drive");
  command.quantity("--speaker-power", options.speaker_power,
                   "The speaker's continuous rating; the lower of both counts");
  command.flag("--bridged", options.bridged, "Two channels bridged; give the bridged rating");
  command.list("--channel", options.channels,
               "A channel, repeatable: name:power:load[:speaker][:reading][:bridged],\n"
               "for example front:55W:4ohm:60W:14.1V");
  command.text("--reading", options.reading, "AC volts read at the speaker terminals").called("V");
  command.text("--meter", options.meter,
               "The meter: accuracy, then as known last digit or counts, type, AC band");
  auto& conditions = options.conditions;
  command.quantity("--tone-frequency", conditions.tone_frequency,
                   "Frequency of the set-up tone, checked against the meter's band");
  command.quantity("--tone-level", conditions.tone_level,
                   "Level of the set-up tone; shows what an overlap costs");
  command.quantity("--supply", conditions.supply,
                   "Supply voltage at the amplifier while setting; a low one lowers the target");
  command.quantity("--rated-supply", conditions.rated_supply,
                   "Supply voltage at which its power is rated");
  command.flag("--regulated", conditions.regulated, "Its power does not depend on the supply");
  command.quantity("--source", conditions.source,
                   "Clean volts at its input from a full-scale tone, with --sensitivity");
  command.quantity("--sensitivity", conditions.sensitivity,
                   "Its input for rated power with the gain fully up");
  command.quantity("--tolerance", conditions.tolerance, "How far a reading may be off");
  command.flag("--json", options.json, "Print one JSON document (railtap.target/1)");
  add_recording_options(command, options.recording);
}

electric::Channel single_channel(const TargetOptions& options) {
  if (!options.power || !options.load) {
    throw Error("the rated power and the load are needed", options.power ? "--load" : "--power",
                "for example: railtap target --power 55W --load 4ohm");
  }
  electric::Channel channel;
  channel.amplifier_power = require_positive(*options.power, "--power");
  channel.load = require_positive(*options.load, "--load");
  channel.speaker_power = options.speaker_power;
  if (channel.speaker_power) require_positive(*channel.speaker_power, "--speaker-power");
  channel.bridged = options.bridged;
  if (!options.reading.empty()) {
    channel.reading =
        require_positive(parse_quantity<Volts>(options.reading, "--reading"), "--reading");
    channel.typed_digit = electric::last_digit(options.reading, "--reading");
  }
  return channel;
}

std::vector<electric::Channel> channels_of(const TargetOptions& options) {
  if (options.channels.empty()) return {single_channel(options)};
  if (options.power || options.load || options.speaker_power || options.bridged ||
      !options.reading.empty()) {
    throw Error(
        "describes a channel in full, so it cannot be mixed with --power, --load, "
        "--speaker-power, --reading or --bridged",
        "--channel", "put them into it, for example --channel front:55W:4ohm:60W:14.1V");
  }
  std::vector<electric::Channel> channels;
  for (const std::string& text : options.channels) {
    channels.push_back(electric::parse_channel(text, "--channel"));
  }
  return channels;
}

void check_conditions(electric::Conditions& conditions, const std::string& meter) {
  require_not_negative(conditions.tolerance, "--tolerance");
  if (conditions.supply) require_positive(*conditions.supply, "--supply");
  require_positive(conditions.rated_supply, "--rated-supply");
  if (conditions.source) require_positive(*conditions.source, "--source");
  if (conditions.sensitivity) require_positive(*conditions.sensitivity, "--sensitivity");
  if (conditions.source.has_value() != conditions.sensitivity.has_value()) {
    throw Error("the input's volts and the amplifier's sensitivity are needed together",
                conditions.source ? "--sensitivity" : "--source",
                "for example: --source 8.3V --sensitivity 1V");
  }
  if (conditions.tone_frequency) require_positive(*conditions.tone_frequency, "--tone-frequency");
  if (conditions.tone_level) {
    require_within(*conditions.tone_level, electric::lowest_tone_level, Dbfs(0.0), "--tone-level");
  }
  if (meter.empty()) return;
  conditions.meter = electric::parse_meter(meter, "--meter");
  if (conditions.tone_frequency) {
    require_in_band(*conditions.meter, *conditions.tone_frequency, "--tone-frequency");
  }
}

ExitStatus run(TargetOptions& options) {
  check_conditions(options.conditions, options.meter);
  check_recording(options.recording);
  std::vector<electric::ChannelTarget> results;
  ExitStatus status = ExitStatus::within_limits;
  for (const electric::Channel& channel : channels_of(options)) {
    results.push_back(electric::resolve(channel, options.conditions));
    if (electric::misses(results.back())) status = ExitStatus::outside_limits;
  }
  const bool wanted = options.json || is_recorded(options.recording);
  system::Json json = wanted ? report::target_json(results, options.conditions) : system::Json();
  std::cout << (options.json ? json.page() : report::target_text(results, options.conditions));
  write_down(options.recording, "target", std::move(json));
  return status;
}

}  // namespace

Command target_command() {
  Command command("target", "The AC voltage an amplifier channel should deliver");
  auto options = std::make_shared<TargetOptions>();
  add_options(command, *options);
  command.footer =
      "Example:\n"
      "  railtap target --power 55W --load 4ohm --speaker-power 60W --reading 14.10V \\\n"
      "    --meter \"1.2%+5, average, 400Hz\" --tone-frequency 50Hz\n"
      "Exit status: 0 on target or no reading, 1 when a reading misses by more than the "
      "tolerance.";
  command.run = [options] { return run(*options); };
  return command;
}

}  // namespace railtap::command
