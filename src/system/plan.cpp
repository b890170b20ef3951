// SPDX-License-Identifier: MIT
// The plan: targets, gains, tap and supply of a described system.
#include "system/plan.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::system {
namespace {

using Verdict = GainLanding::Verdict;
using Warnings = std::vector<std::string>;

}  // namespace

// --- supply --------------------------------------------------------------------------------------

namespace {

/// Efficiency at full power where the description has none (common practice).
constexpr Percent class_d_efficiency{85.0}, class_ab_efficiency{60.0};
/// Loud music has an eighth of the power of a sine that just does not clip (common practice; 9 dB).
constexpr double music_share = 1.0 / 8.0;
/// Where the voltage has to be kept up, a cable may take 3 % [ISO 10133:2012, 4.8 and its note].
constexpr Percent most_drop{3.0};

/// A switching amplifier's supply current follows its power; that of a class-B stage its output
/// voltage (derived: its supply delivers the rectified mean).
double current_share(const Amplifier& amplifier) {
  return amplifier.class_d ? music_share : std::sqrt(music_share);
}

PlannedAmplifier draw_of(const Amplifier& amplifier, const Plan& plan) {
  PlannedAmplifier result{};
  result.name = amplifier.name;
  result.efficiency =
      amplifier.efficiency.value_or(amplifier.class_d ? class_d_efficiency : class_ab_efficiency);
  result.efficiency_assumed = !amplifier.efficiency;
  Watts output{0.0};
  for (const PlannedChannel& channel : plan.channels) {
    if (channel.amplifier == amplifier.name) output += channel.target.power;
  }
  constexpr double whole = 100.0;
  result.full = Amperes(output.value() * whole / result.efficiency.value() / plan.supply.value());
  result.music = result.full * current_share(amplifier);
  return result;
}

void add_amplifiers(const SystemDescription& system, const Plan& plan, PlannedFeed& planned,
                    bool& all_regulated) {
  for (const Amplifier& amplifier : system.amplifiers) {
    if (amplifier.feed != planned.name) continue;
    const PlannedAmplifier draw = draw_of(amplifier, plan);
    planned.amplifiers.push_back(amplifier.name);
    planned.full += draw.full;
    planned.music += draw.music;
    all_regulated = all_regulated && amplifier.regulated;
  }
}

void judge_feed(PlannedFeed& feed) {
  feed.drop_passes = feed.drop_share <= most_drop;
  feed.fuse_protects = !feed.fuse || !feed.ampacity || *feed.fuse <= *feed.ampacity;
  feed.fuse_carries = !feed.fuse || *feed.fuse >= feed.music;
  feed.cable_carries = !feed.ampacity || *feed.ampacity >= feed.music;
}

PlannedFeed planned_feed(const SystemDescription& system, const Plan& plan, const Feed& feed) {
  PlannedFeed planned{};
  planned.name = feed.name;
  planned.cable = feed.cable;
  bool all_regulated = true;
  add_amplifiers(system, plan, planned, all_regulated);
  planned.resistance = electric::wire_resistance(feed.cable.gauge, path_of(feed.cable));
  planned.drop = Volts(planned.full.value() * planned.resistance.value());
  planned.at_amplifier = std::max(Volts(0.0), plan.supply - planned.drop);
  planned.drop_share = Percent(100.0 * (planned.drop / plan.supply));
  if (!all_regulated && planned.at_amplifier > Volts(0.0))
    planned.clipping_change = decibels_from_amplitude_ratio(planned.at_amplifier / plan.supply);
  planned.fuse = feed.fuse;
  planned.ampacity = feed.ampacity;
  if (!planned.ampacity) {
    planned.ampacity = electric::cable_ampacity(feed.cable.gauge);
    planned.ampacity_by_table = planned.ampacity.has_value();
  }
  judge_feed(planned);
  return planned;
}

}  // namespace

void plan_supply(const SystemDescription& system, Plan& plan) {
  plan.supply = system.supply.running;
  plan.available = system.supply.available;
  for (const Amplifier& amplifier : system.amplifiers)
    plan.amplifiers.push_back(draw_of(amplifier, plan));
  for (const PlannedAmplifier& amplifier : plan.amplifiers) {
    plan.full += amplifier.full;
    plan.music += amplifier.music;
  }
  for (const Feed& feed : system.supply.feeds)
    plan.feeds.push_back(planned_feed(system, plan, feed));
}

// --- plan ----------------------------------------------------------------------------------------

namespace {

/// Ordinary line inputs have 10 kohm or more (common practice); microphone inputs about 2.2 kohm.
constexpr Ohms line_input{10'000.0}, microphone_input{2'200.0};
/// A control of a speaker-level input beyond a quarter of its travel is suspicious (common
/// practice).
constexpr Percent usual_travel{25.0};

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
         "the gain would be at " + format_fixed(channel.gain->travel, 0) +
             " of its travel; a speaker-level source needs a quarter or less (common "
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
    tell(
        warnings, channel.name,
        "the speaker cable loses " + format_fixed(-*channel.cable_loss, 2) + "; use a thicker one");
}

/// An overlap makes a passage at full scale louder than the tone that the gain was set with.
void warn_of_overlap(const PlannedChannel& channel, Warnings& warnings) {
  if (!channel.limits.speaker || channel.overlap.overlap <= Decibels(0.0)) return;
  const double most = channel.limits.speaker->value();
  const Watts rated(most * most / channel.load.value());
  if (channel.overlap.full_scale_power <= rated) return;
  tell(warnings, channel.name,
       "a full-scale passage puts " + format_quantity(channel.overlap.full_scale_power, 3) +
           " into speakers rated " + format_quantity(rated, 3) +
           " continuous; that is the risk of the overlap");
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
                       " is above the cable's rating, " + format_quantity(*feed.ampacity, 3) +
                       ": in a fault the cable overheats before it blows");
  if (!feed.fuse_carries)
    warnings.push_back(name + "the fuse of " + format_quantity(*feed.fuse) +
                       " is less than loud music draws, " + format_quantity(feed.music, 3));
  if (feed.fuse_carries && feed.fuse && *feed.fuse < feed.full)
    warnings.push_back(name +
                       "the fuse may blow on a long tone with every channel at its target: " +
                       format_quantity(feed.full, 3));
  if (!feed.cable_carries)
    warnings.push_back(name + "loud music draws " + format_quantity(feed.music, 3) +
                       ", more than the cable's rating");
  if (!feed.ampacity)
    warnings.push_back(name + "the cable's rating is not known; give its ampacity");
}

void warn_of_supply(const SystemDescription& system, const Plan& plan, Warnings& warnings) {
  for (const PlannedFeed& feed : plan.feeds) warn_of_feed(feed, warnings);
  Amperes music{0.0};
  for (const PlannedAmplifier& amplifier : plan.amplifiers) music += amplifier.music;
  if (plan.available && music > *plan.available)
    warnings.push_back("loud music draws " + format_quantity(music, 3) +
                       ", more than the supply gives continuously: the battery discharges");
  for (const Amplifier& amplifier : system.amplifiers) {
    if (amplifier.feed.empty())
      warnings.push_back(amplifier.name +
                         ": its feed is not described, so cable and fuse are not "
                         "checked");
  }
}

void warn(const SystemDescription& system, Plan& plan) {
  Warnings& warnings = plan.warnings;
  if (!system.head_unit.clean_output) warnings.push_back(clean_output_unknown);
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

static std::vector<std::string> without_sensitivity(const SystemDescription& system) {
  std::vector<std::string> names;
  for (const Speaker& speaker : system.speakers) {
    if (!speaker.sensitivity) names.push_back(speaker.name);
  }
  return names;
}

static Matching matching_of(const SystemDescription& system, const Plan& plan) {
  Matching matching{
      mean_level(plan, Role::doors), mean_level(plan, Role::bass), {}, without_sensitivity(system)};
  if (matching.doors && matching.bass) matching.bass_over_doors = *matching.bass - *matching.doors;
  return matching;
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
  plan.matching = matching_of(system, plan);
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
