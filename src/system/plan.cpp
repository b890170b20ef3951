// SPDX-License-Identifier: MIT
// The plan: its parts put together, and what to warn of.
#include "system/plan.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::system {
namespace {

/// Ordinary line inputs have 10 kohm or more (common practice); microphone inputs about 2.2 kohm.
constexpr Ohms line_input{10'000.0}, microphone_input{2'200.0};
/// A control of a speaker-level input beyond a quarter of its travel is suspicious (common
/// practice).
constexpr Percent usual_travel{25.0};

using Verdict = GainLanding::Verdict;
using Warnings = std::vector<std::string>;

/// What is true of several is said once: "front left, front right: …".
void tell(Warnings& warnings, const std::string& who, const std::string& what) {
  const std::string rest = ": " + what;
  const auto same = std::find_if(warnings.begin(), warnings.end(),
                                 [&rest](const std::string& text) { return text.ends_with(rest); });
  if (same == warnings.end()) {
    warnings.push_back(who + rest);
  } else {
    same->insert(same->size() - rest.size(), ", " + who);
  }
}

electric::TapNeed tap_need(const SystemDescription& system, const PlannedTap& tap) {
  electric::TapNeed need;
  need.max_voltage = tap.largest;
  need.input_full_scale = *system.sound_interface.full_scale;
  need.bridge_tied = tap.bridge_tied;
  need.plug_in_power = system.sound_interface.plug_in_power;
  need.input_resistance = system.sound_interface.input_resistance.value_or(
      need.plug_in_power ? microphone_input : line_input);
  return need;
}

void find_largest(const SystemDescription& system, const Plan& plan, PlannedTap& tap) {
  for (const PlannedChannel& channel : plan.channels) {
    tap.bridge_tied = tap.bridge_tied || channel.bridge_tied;
    if (channel.limits.amplifier > tap.largest) {
      tap.largest = channel.limits.amplifier;
      tap.at = channel.name;
    }
  }
  const HeadUnit& unit = system.head_unit;
  tap.bridge_tied = tap.bridge_tied || unit.bridge_tied;
  // A bridge swings from supply to supply at most (derived).
  const Volts most = unit.bridge_tied ? system.supply.running / std::numbers::sqrt2
                                      : unit.clean_output.value_or(Volts(0.0));
  if (most > tap.largest) {
    tap.largest = most;
    tap.at = unit.name;
  }
}

void warn_of_gain(const PlannedChannel& channel, bool speaker_level, Warnings& warnings) {
  if (!channel.gain) return;
  const std::string missing = format_fixed(channel.gain->missing, 1);
  if (channel.gain->verdict == Verdict::too_little)
    tell(warnings, channel.name,
         "with the gain fully up, " + missing +
             " are missing; the head unit's clean output is too low for this amplifier");
  if (channel.gain->verdict == Verdict::too_much)
    tell(warnings, channel.name,
         "with the gain fully down, it is still " + missing +
             " too loud at the highest clean step; mark a lower step, or attenuate the "
             "amplifier's input");
  if (channel.gain->verdict == Verdict::within && speaker_level &&
      channel.gain->travel > usual_travel)
    tell(warnings, channel.name,
         "the gain would stand at " + format_fixed(channel.gain->travel, 0) +
             " of its travel; a speaker-level source wants a quarter or less (common "
             "practice): check the head unit's clean output and the input's range");
}

void warn_of_load(const AmplifierChannel& described, const PlannedChannel& channel,
                  Warnings& warnings) {
  constexpr double as_marked = 0.99;  // a 4 ohm speaker on a 4 ohm rating is none less
  if (channel.load < described.rated_load * as_marked)
    tell(warnings, channel.name,
         "the speakers are " + format_quantity(channel.load) + ", the rating holds for " +
             format_quantity(described.rated_load) +
             "; the amplifier may overheat or shut down. Give its rating into this load");
  if (channel.limited_by == PlanLimit::supply)
    warnings.push_back(channel.name +
                       ": the supply is below the one that the rating holds for; the "
                       "target is lowered to what is left");
  if (!channel.limits.speaker)
    warnings.push_back(channel.name +
                       ": the speaker's continuous rating is not described; the "
                       "target is what the amplifier gives");
  if (!channel.meter_reads_tone)
    tell(warnings, channel.name,
         "the meter's accuracy does not hold at " + format_quantity(channel.tone) +
             "; read the volts from a calibrated recording, or use a tone in its band");
  if (channel.cable_loss && *channel.cable_loss < Decibels(-0.5))
    tell(warnings, channel.name,
         "the cable to the speaker takes " + format_fixed(-*channel.cable_loss, 2) +
             "; use a thicker one");
}

/// An overlap makes a passage at full scale louder than the tone that the gain was set with.
void warn_of_overlap(const PlannedChannel& channel, Warnings& warnings) {
  if (!channel.limits.speaker || channel.overlap.overlap <= Decibels(0.0)) return;
  const double most = channel.limits.speaker->value();
  const Watts stands(most * most / channel.load.value());
  if (channel.overlap.full_scale_power <= stands) return;
  tell(warnings, channel.name,
       "a full-scale passage puts " + format_quantity(channel.overlap.full_scale_power, 3) +
           " into what stands " + format_quantity(stands, 3) +
           " all the time; that is what the overlap risks");
}

void warn_of_pairs(const Plan& plan, Warnings& warnings) {
  for (std::size_t i = 0; i < plan.channels.size(); ++i) {
    const PlannedChannel& one = plan.channels[i];
    const auto other = std::find_if(
        plan.channels.begin(), plan.channels.begin() + static_cast<std::ptrdiff_t>(i),
        [&one](const auto& c) { return c.amplifier == one.amplifier && c.control == one.control; });
    if (other == plan.channels.begin() + static_cast<std::ptrdiff_t>(i)) continue;
    const double ratio = one.target.volts / other->target.volts;
    if (std::abs(decibels_from_amplitude_ratio(ratio).value()) > plan.tolerance.value())
      warnings.push_back(one.name + " and " + other->name + " share the control \"" + one.control +
                         "\" and have different targets: set it for the lower one");
  }
}

void warn_of_feed(const PlannedFeed& feed, Warnings& warnings) {
  const std::string name = "feed " + feed.name + ": ";
  if (!feed.drop_passes)
    warnings.push_back(name + format_quantity(feed.drop, 3) + " are lost in the cable at " +
                       format_quantity(feed.full, 3) +
                       ", more than 3 %; use a thicker or shorter one");
  if (!feed.fuse)
    warnings.push_back(name +
                       "no fuse is described; one within 45 cm of the battery protects the "
                       "cable (common practice)");
  if (!feed.fuse_protects)
    warnings.push_back(name + "the fuse of " + format_quantity(*feed.fuse) +
                       " is more than the cable stands, " + format_quantity(*feed.ampacity, 3) +
                       ": in a fault the cable burns first");
  if (!feed.fuse_carries)
    warnings.push_back(name + "the fuse of " + format_quantity(*feed.fuse) +
                       " is less than loud music draws, " + format_quantity(feed.music, 3));
  if (feed.fuse_carries && feed.fuse && *feed.fuse < feed.full)
    warnings.push_back(name +
                       "the fuse may blow on a long tone with every channel at its target: " +
                       format_quantity(feed.full, 3));
  if (!feed.cable_carries)
    warnings.push_back(name + "loud music draws " + format_quantity(feed.music, 3) +
                       ", more than the cable stands");
  if (!feed.ampacity)
    warnings.push_back(name + "what the cable stands is not known; give its ampacity");
}

void warn_of_supply(const SystemDescription& system, const Plan& plan, Warnings& warnings) {
  for (const PlannedFeed& feed : plan.feeds) warn_of_feed(feed, warnings);
  Amperes music{0.0};
  for (const PlannedAmplifier& amplifier : plan.amplifiers) music += amplifier.music;
  if (plan.available && music > *plan.available)
    warnings.push_back("loud music draws " + format_quantity(music, 3) +
                       ", more than the supply gives all the time: the battery empties");
  for (const Amplifier& amplifier : system.amplifiers) {
    if (amplifier.feed.empty())
      warnings.push_back(amplifier.name +
                         ": its feed is not described, so cable and fuse are not "
                         "checked");
  }
}

void warn(const SystemDescription& system, Plan& plan) {
  Warnings& warnings = plan.warnings;
  if (!system.head_unit.clean_output)
    warnings.push_back(
        "the head unit's clean output is not known: find it with railtap onset and "
        "put it into the file as clean_output; only then is it known where the "
        "gains land");
  if (!system.meter) warnings.push_back("no meter is described: readings have no error band");
  auto channel = plan.channels.begin();
  for (const Amplifier& amplifier : system.amplifiers) {
    for (const AmplifierChannel& described : amplifier.channels) {
      warn_of_gain(*channel, amplifier.speaker_level, warnings);
      warn_of_load(described, *channel, warnings);
      warn_of_overlap(*channel, warnings);
      ++channel;
    }
  }
  warn_of_pairs(plan, warnings);
  warn_of_supply(system, plan, warnings);
}

std::optional<Decibels> mean_level(const Plan& plan, Role role) {
  Decibels sum{0.0};
  int count = 0;
  for (const PlannedChannel& channel : plan.channels) {
    if (channel.role != role) continue;
    if (!channel.sound_level) return std::nullopt;
    sum += *channel.sound_level;
    ++count;
  }
  return count == 0 ? std::nullopt : std::optional(sum / count);
}

}  // namespace

PlannedTap plan_tap(const SystemDescription& system, const Plan& plan, Warnings& warnings) {
  PlannedTap tap;
  find_largest(system, plan, tap);
  tap.described = system.attenuator.has_value();
  if (!system.sound_interface.full_scale) {
    warnings.emplace_back(
        "the recording input's full scale is not known: the tap cannot be chosen");
    return tap;
  }
  electric::TapNeed need = tap_need(system, tap);
  try {
    const auto parts =
        tap.described
            ? electric::with_capacitors(
                  need, {system.attenuator->series_each, system.attenuator->shunt, {}, {}})
            : electric::choose_parts(need);
    tap.tap = electric::evaluate(need, parts);
  } catch (const Error& error) {
    warnings.push_back("no tap: " + error.problem() + "; " + error.remedy());
    return tap;
  }
  if (tap.described && tap.bridge_tied && !system.attenuator->bridge_tied)
    warnings.emplace_back(
        "the described tap has no resistor in the minus leg: on a bridge-tied "
        "output it shorts an amplifier through the sound card's ground");
  return tap;
}

Plan make_plan(const SystemDescription& system) {
  Plan plan;
  plan.name = system.name;
  plan.tone_level = system.tone_level;
  plan.tolerance = system.tolerance;
  for (const Amplifier& amplifier : system.amplifiers) {
    for (const AmplifierChannel& channel : amplifier.channels)
      plan.channels.push_back(plan_channel(system, amplifier, channel));
  }
  plan_supply(system, plan);
  warn(system, plan);
  plan.tap = plan_tap(system, plan, plan.warnings);
  plan.matching = {mean_level(plan, Role::doors), mean_level(plan, Role::bass)};
  plan.order = order_of_work(system, plan);
  return plan;
}

bool passes(const Plan& plan) {
  return std::all_of(plan.channels.begin(), plan.channels.end(),
                     [](const PlannedChannel& channel) { return channel.reachable; }) &&
         std::all_of(plan.feeds.begin(), plan.feeds.end(),
                     [](const PlannedFeed& feed) { return passes(feed); });
}

}  // namespace railtap::system
