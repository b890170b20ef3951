// SPDX-License-Identifier: MIT
// From a described system to what the guided walk would ask.
#include "command/walk_described.hpp"

#include <algorithm>

#include "electric/attenuator.hpp"
#include "report/plan.hpp"
#include "system/plan.hpp"

namespace railtap::command {
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

}  // namespace railtap::command
