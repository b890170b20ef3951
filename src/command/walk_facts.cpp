// SPDX-License-Identifier: MIT
// What the guided walk asks about the vehicle, and need not ask because a system file describes it.
#include "command/walk.hpp"

#include <algorithm>
#include <sstream>

#include "command/dialog.hpp"
#include "command/walk_checks.hpp"
#include "electric/attenuator.hpp"
#include "report/plan.hpp"
#include "system/plan.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"
#include "units/visible.hpp"

namespace railtap::command {

// From a described system to what the guided walk would ask.

namespace {

using system::Amplifier;
using system::AmplifierChannel;
using system::PlanLimit;
using system::PlannedChannel;
using system::SystemDescription;

// One channel as it is described and as it is planned.
struct Member {
  const Amplifier* amplifier;
  const AmplifierChannel* channel;
  const PlannedChannel* planned;
};
using Group = std::vector<Member>;

// The plan has the channels in the order of their description.
std::vector<Group> by_control(const SystemDescription& system, const system::Plan& plan) {
  std::vector<Member> members;
  for (const Amplifier& amplifier : system.amplifiers) {
    for (const AmplifierChannel& channel : amplifier.channels)
      members.push_back({&amplifier, &channel, &plan.channels[members.size()]});
  }
  std::vector<Group> groups;
  for (const auto& together : system::channels_by_control(plan)) {
    Group& group = groups.emplace_back();
    for (const PlannedChannel* planned : together)
      group.push_back(members[static_cast<std::size_t>(planned - plan.channels.data())]);
  }
  return groups;
}

std::string name_of(const Group& group, const std::vector<Group>& all) {
  const std::string& control = group.front().channel->control;
  const auto same = std::count_if(all.begin(), all.end(), [&control](const Group& other) {
    return other.front().channel->control == control;
  });
  return same == 1 ? control : group.front().amplifier->name + " " + control;
}

// None where a speaker behind the control has no rating: it may be the weakest.
std::optional<Watts> speaker_power(const SystemDescription& system, const Group& group,
                                   const Member& lowest) {
  for (const Member& member : group) {
    if (!system::speaker_of(system, *member.channel).power) return std::nullopt;
  }
  return *system::speaker_of(system, *lowest.channel).power * lowest.channel->speakers;
}

// By the names of the head unit's outputs; empty where they do not say.
std::string carries(const std::vector<std::string>& inputs) {
  bool left = false, right = false;
  for (const std::string& input : inputs) {
    left = left || input.find("left") != std::string::npos;
    right = right || input.find("right") != std::string::npos;
  }
  if (left && right) return "both";
  return left ? "left" : right ? "right" : "";
}

WalkChannel walk_channel(const SystemDescription& system, const Group& group,
                         const std::string& name) {
  const Member& lowest =
      *std::min_element(group.begin(), group.end(), [](const auto& a, const auto& b) {
        return a.planned->target.volts < b.planned->target.volts;
      });
  const PlannedChannel& planned = *lowest.planned;
  WalkChannel result;
  result.plate.name = name;
  result.plate.load = planned.load;
  result.plate.amplifier_power = planned.described.amplifier_power;
  result.plate.speaker_power = speaker_power(system, group, lowest);
  result.plate.bridged = planned.bridged;
  result.bass = planned.role == system::Role::bass;
  result.tone = planned.tone;
  if (planned.limited_by != PlanLimit::amplifier)
    result.bound = {planned.target.volts, report::name(planned.limited_by)};
  result.switches = planned.switches;
  for (const Member& member : group) {
    result.outputs.push_back(member.channel->name);
    result.carries.push_back(carries(member.channel->inputs));
  }
  return result;
}

// The tap that is there, else the one that the plan chooses for the input's full scale.
void take_tap(Described& result, const SystemDescription& system, const system::Plan& plan) {
  if (plan.tap.tap) result.facts.tap_full_scale = plan.tap.tap->full_scale;
  if (system.attenuator) {
    const auto& tap = *system.attenuator;
    result.tap = electric::describe_resistors(tap.series_each, tap.shunt, tap.bridge_tied);
  } else if (plan.tap.tap) {
    const auto& tap = *plan.tap.tap;
    result.tap = "as planned, " + electric::describe_resistors(
                                      tap.parts.series_each, tap.parts.shunt, plan.tap.bridge_tied);
  }
}

// Whom a warning is about, and what it says of them.
struct Warning {
  std::string who, what;
};

Warning taken_apart(const std::string& text, const system::Plan& plan) {
  for (const PlannedChannel& channel : plan.channels) {
    for (const std::string& name : {channel.name, channel.amplifier}) {
      if (text.starts_with(name + ": ")) return {name, text.substr(name.size() + 2)};
    }
  }
  return {"", text};
}

// In order, each said once, with all whom it is about.
std::vector<std::string> without_repeats(const system::Plan& plan) {
  std::vector<Warning> once;
  for (const std::string& text : plan.warnings) {
    // The walk finds it itself.
    if (text == system::clean_output_unknown) continue;
    const Warning warning = taken_apart(text, plan);
    const auto same = std::find_if(once.begin(), once.end(), [&warning](const Warning& other) {
      return other.what == warning.what && other.who.empty() == warning.who.empty();
    });
    if (same == once.end()) {
      once.push_back(warning);
    } else if (!warning.who.empty()) {
      same->who += ", " + warning.who;
    }
  }
  std::vector<std::string> texts;
  for (const Warning& warning : once)
    texts.push_back(warning.who.empty() ? warning.what : warning.who + ": " + warning.what);
  return texts;
}

}  // namespace

Described described(const SystemDescription& system) {
  const system::Plan plan = system::make_plan(system);
  Described result;
  result.document = system.document;
  result.warnings = without_repeats(plan);
  WalkFacts& facts = result.facts;
  if (system.meter) facts.meter = electric::describe(*system.meter);
  const auto groups = by_control(system, plan);
  for (const Group& group : groups)
    facts.channels.push_back(walk_channel(system, group, name_of(group, groups)));
  take_tap(result, system, plan);
  facts.tone_level = system.tone_level;
  facts.tolerance = system.tolerance;
  facts.volume_steps = system.head_unit.volume_steps;
  facts.source_outputs = system.head_unit.outputs;
  return result;
}

// The walk's step that asks for meter, channels and tap, as far as no description has them.

namespace {

std::vector<std::string> parts_of(const std::string& line) {
  std::vector<std::string> parts;
  std::istringstream in(line);
  for (std::string part; std::getline(in, part, ',');) parts.emplace_back(trimmed(part));
  return parts;
}

// "1,200W" in a line whose parts are told apart by commas.
bool has_comma_in_number(const std::string& line) {
  const auto digit = [&line](std::size_t at) {
    return at < line.size() && line[at] >= '0' && line[at] <= '9';
  };
  for (std::size_t at = line.find(','); at != std::string::npos; at = line.find(',', at + 1)) {
    if (at > 0 && digit(at - 1) && digit(at + 1)) return true;
  }
  return false;
}

// "front, 55W, 4ohm, 60W" or "bass, 280W, 2ohm, 300W, bass".
WalkChannel channel_from(const std::string& line) {
  const auto parts = parts_of(line);
  const bool bass = parts.size() == 5 && parts[4] == "bass";
  if (parts.size() > 4 && !bass && has_comma_in_number(line)) {
    throw Error("'" + short_name(line) + "' has a comma inside a number", "",
                "write numbers without one: 1200W, and 5.5ohm");
  }
  if ((parts.size() != 4 && !bass) || parts[0].empty()) {
    throw Error("'" + short_name(line) + "' is not a gain control", "",
                "write name, power, load, speaker power: front, 55W, 4ohm, 60W");
  }
  if (visible(parts[0]) != parts[0])
    throw Error("the name holds characters that cannot be shown", "", "type it again");
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

// What a meter's description leaves open; empty where nothing is.
std::string assumed_of(const std::string& meter) {
  if (meter.empty()) return "";
  std::string text;
  for (const std::string& part : electric::assumptions(electric::parse_meter(meter, "the meter")))
    text += (text.empty() ? "Assumed of the meter: " : "; ") + part;
  return text.empty() ? text : text + ".";
}

Prompt channel_prompt(const std::vector<WalkChannel>& before) {
  Prompt prompt;
  prompt.id = channel_id(before.size());
  prompt.lines = {
      "Amplifier channels behind one gain control: name, power, load, speaker power; add ', bass' "
      "for 50 Hz. For example front, 55W, 4ohm, 60W."};
  prompt.question =
      before.empty() ? "The first gain control:" : "The next one; Enter when there are no more.";
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
  prompt.question = "Continuous rating of all speakers on one output of " +
                    short_name(channel.plate.name) +
                    " together (of the weakest output), for example 60W; Enter if it is not known.";
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
  for (const std::string& warning : told.warnings) lines.push_back("Note: " + warning + ".");
  return done_prompt("described", std::move(lines),
                     tools.rehearses
                         ? "Enter if that is your system."
                         : "Enter if that is your system; if not, q, and correct the file.");
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
  if (!channels_are_told(tools, answers, facts.channels)) {
    Prompt prompt = channel_prompt(facts.channels);
    const std::string assumed = facts.channels.empty() ? assumed_of(*facts.meter) : "";
    if (!assumed.empty()) prompt.lines.insert(prompt.lines.begin(), assumed);
    return prompt;
  }
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
