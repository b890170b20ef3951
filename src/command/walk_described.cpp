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
  result.plate.amplifier_power =
      lowest.channel->rated_power * (lowest.channel->rated_load / planned.load);
  result.plate.speaker_power = speaker_power(system, group, lowest);
  result.plate.bridged = planned.bridged;
  result.bass = planned.role == system::Role::bass;
  result.tone = planned.tone;
  if (planned.limited_by != PlanLimit::amplifier)
    result.bound = {planned.target.volts, report::name(planned.limited_by)};
  result.switches = planned.switches;
  for (const Member& member : group)
    result.outputs += (result.outputs.empty() ? "" : ", ") + member.channel->name;
  return result;
}

}  // namespace

Described described(const SystemDescription& system) {
  const system::Plan plan = system::make_plan(system);
  Described result;
  result.document = system.document;
  result.warnings = plan.warnings;
  WalkFacts& facts = result.facts;
  if (system.meter) facts.meter = electric::describe(*system.meter);
  const auto groups = by_control(system, plan);
  for (const Group& group : groups)
    facts.channels.push_back(walk_channel(system, group, name_of(group, groups)));
  if (system.attenuator) {
    const auto& tap = *system.attenuator;
    result.tap = electric::describe_resistors(tap.series_each, tap.shunt, tap.bridge_tied);
    if (plan.tap.tap) facts.tap_full_scale = plan.tap.tap->full_scale;
  }
  facts.tone_level = system.tone_level;
  facts.tolerance = system.tolerance;
  facts.volume_steps = system.head_unit.volume_steps;
  return result;
}

}  // namespace railtap::command
