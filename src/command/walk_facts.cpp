// SPDX-License-Identifier: MIT
// The walk's step that asks for meter, channels and tap, as far as no description has them.
#include <sstream>

#include "command/dialog.hpp"
#include "command/walk_checks.hpp"
#include "command/walk_steps.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

std::vector<std::string> parts_of(const std::string& line) {
  std::vector<std::string> parts;
  std::istringstream in(line);
  for (std::string part; std::getline(in, part, ',');) parts.emplace_back(trimmed(part));
  return parts;
}

// "front, 55W, 4ohm, 60W" or "bass, 280W, 2ohm, 300W, bass".
WalkChannel channel_from(const std::string& line) {
  const auto parts = parts_of(line);
  const bool bass = parts.size() == 5 && parts[4] == "bass";
  if ((parts.size() != 4 && !bass) || parts[0].empty()) {
    throw Error("'" + short_name(line) + "' is not a gain control", "",
                "write name, power, load, speaker power: front, 55W, 4ohm, 60W");
  }
  WalkChannel channel;
  channel.plate.name = parts[0];
  channel.plate.amplifier_power = parse_quantity<Watts>(parts[1], "power");
  channel.plate.load = parse_quantity<Ohms>(parts[2], "load");
  channel.plate.speaker_power = parse_quantity<Watts>(parts[3], "speaker power");
  channel.bass = bass;
  channel.tone = bass ? bass_tone : usual_tone;
  (void)electric::target_for(channel.plate);
  return channel;
}

std::string channel_id(std::size_t index) {
  return "channel " + std::to_string(index + 1);
}

// The channels that were typed, up to the empty answer that ends them.
std::vector<WalkChannel> typed_channels(const Answers& answers) {
  std::vector<WalkChannel> channels;
  while (true) {
    const auto line = answers.find(channel_id(channels.size()));
    if (!line || line->empty()) return channels;
    channels.push_back(channel_from(*line));
  }
}

// A step goes by its channel's name, so a second one of the same name would count as done.
void require_new_name(const std::vector<WalkChannel>& channels, const std::string& name) {
  for (const WalkChannel& other : channels) {
    if (other.plate.name == name)
      throw Error("there is a gain control '" + short_name(name) + "' already", "",
                  "give it another name");
  }
}

Prompt meter_prompt() {
  Prompt prompt;
  prompt.id = "meter";
  prompt.question =
      "Your meter's AC volts: accuracy, average or true-rms, band. For example 1.2%+5, average, "
      "400Hz; Enter if it is not known.";
  prompt.take = [](const std::string& typed) {
    if (!typed.empty()) (void)electric::parse_meter(typed, "the meter");
    return typed;
  };
  return prompt;
}

Prompt channel_prompt(const std::vector<WalkChannel>& before) {
  Prompt prompt;
  prompt.id = channel_id(before.size());
  prompt.lines = {
      "Amplifier channels behind one gain control: name, power, load, speaker power; add ', bass' "
      "for 50 Hz. For example front, 55W, 4ohm, 60W."};
  prompt.question =
      before.empty() ? "The first gain control:" : "The next one; Enter when all are told.";
  prompt.take = [before](const std::string& typed) {
    if (typed.empty() && !before.empty()) return typed;
    if (typed.empty()) throw Error("there is no gain control yet", "", "name at least one");
    require_new_name(before, channel_from(typed).plate.name);
    return typed;
  };
  return prompt;
}

std::string speaker_id(const WalkChannel& channel) {
  return "speaker power " + channel.plate.name;
}

std::optional<Watts> speaker_power_from(const WalkChannel& channel, const std::string& typed) {
  if (typed.empty()) return std::nullopt;
  electric::Channel plate = channel.plate;
  plate.speaker_power = parse_quantity<Watts>(typed, "speaker power");
  (void)electric::target_for(plate);
  return plate.speaker_power;
}

Prompt speaker_prompt(const WalkChannel& channel) {
  Prompt prompt;
  prompt.id = speaker_id(channel);
  prompt.question = "Continuous rating of the speakers on one output of " +
                    short_name(channel.plate.name) +
                    " together, the weakest output's, for example 60W; Enter if it is not known.";
  prompt.take = [channel](const std::string& typed) {
    (void)speaker_power_from(channel, typed);
    return typed;
  };
  return prompt;
}

std::optional<Volts> tap_from(const std::string& typed) {
  if (typed.empty()) return std::nullopt;
  return require_positive(parse_quantity<Volts>(typed, "the tap"), "the tap");
}

Prompt tap_prompt(const std::string& program) {
  Prompt prompt;
  prompt.id = "tap";
  prompt.question = "Volts RMS that fill the recording input through your tap, as `" + program +
                    " attenuator` prints them, for example 21V; Enter if they are not known.";
  prompt.take = [](const std::string& typed) {
    (void)tap_from(typed);
    return typed;
  };
  return prompt;
}

// What a description says, for the person to agree to.
Prompt described_prompt(const WalkTools& tools) {
  const Described& told = *tools.described;
  std::vector<std::string> lines = {"From " + tools.system_file + ":"};
  for (const WalkChannel& channel : told.facts.channels) {
    lines.push_back("- " + names_of(channel) + ": " +
                    format_quantity(target_of(channel).volts, 4, Zeros::keep) + ", set with " +
                    format_quantity(channel.tone, 3));
  }
  if (told.facts.meter) lines.push_back("- meter: " + *told.facts.meter);
  if (!told.tap.empty()) lines.push_back("- tap: " + told.tap);
  for (const std::string& warning : told.warnings) lines.push_back("Mind: " + warning + ".");
  return done_prompt("described", std::move(lines), "Enter if that is your system.");
}

// What is known with these answers. What was not asked yet is left out.
WalkFacts facts_with(const WalkTools& tools, const Answers& answers) {
  WalkFacts facts = tools.described ? tools.described->facts : WalkFacts{};
  if (!facts.meter) facts.meter = answers.find("meter");
  if (facts.channels.empty()) facts.channels = typed_channels(answers);
  for (WalkChannel& channel : facts.channels) {
    const auto typed = answers.find(speaker_id(channel));
    if (typed) channel.plate.speaker_power = speaker_power_from(channel, *typed);
  }
  if (!facts.tap_full_scale) facts.tap_full_scale = tap_from(answers.find("tap").value_or(""));
  return facts;
}

bool channels_are_told(const WalkTools& tools, const Answers& answers,
                       const std::vector<WalkChannel>& channels) {
  return (tools.described && !tools.described->facts.channels.empty()) ||
         answers.find(channel_id(channels.size())).has_value();
}

std::optional<Prompt> next_fact(const WalkTools& tools, const Answers& answers) {
  if (tools.described && !answers.find("described")) return described_prompt(tools);
  const WalkFacts facts = facts_with(tools, answers);
  if (!facts.meter) return meter_prompt();
  if (!channels_are_told(tools, answers, facts.channels)) return channel_prompt(facts.channels);
  for (const WalkChannel& channel : facts.channels) {
    if (!channel.plate.speaker_power && !answers.find(speaker_id(channel)))
      return speaker_prompt(channel);
  }
  if (!facts.tap_full_scale && !answers.find("tap")) return tap_prompt(tools.program);
  return std::nullopt;
}

}  // namespace

Step facts_step(const WalkTools& tools) {
  Step step;
  step.name = "facts";
  step.title = "Your system";
  step.help = "What is printed on amplifiers and speakers, and in the meter's manual.";
  step.optional = false;
  step.next = [&tools](const Answers& answers) { return next_fact(tools, answers); };
  step.finish = [&tools](const Answers& answers) {
    Outcome outcome;
    outcome.details = json_of(facts_with(tools, answers));
    if (tools.described && !tools.described->document.is_null())
      outcome.system = tools.described->document;
    return outcome;
  };
  return step;
}

}  // namespace railtap::command
