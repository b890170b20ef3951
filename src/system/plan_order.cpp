// SPDX-License-Identifier: MIT
// One channel of the plan: its target, what limits it, and where its gain lands.

#include <algorithm>
#include <cmath>
#include <numbers>

#include "system/plan.hpp"
#include "units/print.hpp"

namespace railtap::system {
namespace {

constexpr Hertz bass_tone{50.0}, usual_tone{1000.0}, low_tone{100.0};
/// 1 W into 8 ohm: the voltage that sensitivities are stated at (common practice).
constexpr Volts sensitivity_volts{2.0 * std::numbers::sqrt2};

bool reads(const SystemDescription& system, Hertz tone) {
  if (!system.meter) return true;
  const electric::Meter& meter = *system.meter;
  return !(meter.lowest_frequency && tone < *meter.lowest_frequency) &&
         !(meter.highest_frequency && tone > *meter.highest_frequency);
}

/// The usual tone, or a lower one that the meter reads too.
Hertz tone_for(const SystemDescription& system, const AmplifierChannel& channel) {
  if (channel.tone) return *channel.tone;
  if (channel.role == Role::bass) return bass_tone;
  return !reads(system, usual_tone) && reads(system, low_tone) ? low_tone : usual_tone;
}

/// RMS of the set-up tone at the amplifier's input, at the highest clean step.
std::optional<Volts> input_of(const SystemDescription& system) {
  if (!system.head_unit.clean_output) return std::nullopt;
  return *system.head_unit.clean_output * sine_peak(system.tone_level);
}

/// What target_for is asked: the ratings into this load, and what supply and head unit leave.
electric::Channel described_as(const SystemDescription& system, const Amplifier& amplifier,
                               const AmplifierChannel& channel, Ohms load) {
  electric::Channel result;
  result.name = channel.name;
  result.amplifier_power = channel.rated_power * (channel.rated_load / load);
  result.load = load;
  result.bridged = channel.bridged;
  const Speaker& speaker = speaker_of(system, channel);
  if (speaker.power) result.speaker_power = *speaker.power * channel.speakers;
  const Volts rated = electric::rated_volts(channel.rated_power, channel.rated_load);
  const Volts supply = system.supply.while_setting.value_or(system.supply.running);
  if (!amplifier.regulated) {
    const auto bound = electric::supply_bound(rated, supply, amplifier.rated_supply);
    if (bound) result.bounds.push_back(*bound);
  }
  if (const auto input = input_of(system))
    result.bounds.push_back(electric::source_bound(rated, *input, amplifier.sensitivity_low));
  return result;
}

ChannelLimits limits_of(const electric::Channel& channel) {
  ChannelLimits limits;
  limits.amplifier = electric::rated_volts(channel.amplifier_power, channel.load);
  if (channel.speaker_power)
    limits.speaker = electric::rated_volts(*channel.speaker_power, channel.load);
  for (const electric::Bound& bound : channel.bounds)
    (bound.by == PlanLimit::supply ? limits.supply : limits.head_unit) = bound.volts;
  return limits;
}

/// out = in · rated/sensitivity, and a logarithmic control: equal turns, equal decibels.
GainLanding landing(const Amplifier& amplifier, const ChannelLimits& limits, Volts input,
                    Volts wanted) {
  using Verdict = GainLanding::Verdict;
  const Volts low = amplifier.sensitivity_low;
  const Volts high = amplifier.sensitivity_high;
  const Volts needed = input * (limits.amplifier / wanted);
  if (needed < low)
    return {Verdict::too_little, input, low, Percent(100.0),
            decibels_from_amplitude_ratio(low / needed)};
  if (needed > high)
    return {Verdict::too_much, input, high, Percent(0.0),
            decibels_from_amplitude_ratio(needed / high)};
  const double share = std::log(high / needed) / std::log(high / low);
  return {Verdict::within, input, needed, Percent(100.0 * share), Decibels(0.0)};
}

void add_cable(const AmplifierChannel& channel, PlannedChannel& planned) {
  if (!channel.cable) return;
  planned.cable = electric::wire_resistance(channel.cable->gauge, path_of(*channel.cable));
  planned.cable_loss = electric::wire_loss(*planned.cable, planned.load);
}

/// Sound level at 1 m: S + 20·log10(V/2.83 V), and n drivers with the same signal add as pressures.
std::optional<Decibels> sound_level(const Speaker& speaker, int speakers, Volts volts) {
  if (!speaker.sensitivity) return std::nullopt;
  return *speaker.sensitivity + decibels_from_amplitude_ratio(volts / sensitivity_volts) +
         decibels_from_amplitude_ratio(speakers);
}

void add_gain(const SystemDescription& system, const Amplifier& amplifier, PlannedChannel& planned,
              Volts goal) {
  const auto input = input_of(system);
  if (!input) return;
  planned.gain = landing(amplifier, planned.limits, *input, goal);
  planned.reachable = planned.gain->missing <= system.tolerance;
}

std::string joined(const std::vector<std::string>& first, const std::vector<std::string>& second) {
  std::string text;
  for (const auto* words : {&first, &second}) {
    for (const std::string& word : *words) text += (text.empty() ? "" : ", ") + word;
  }
  return text;
}

}  // namespace

PlannedChannel plan_channel(const SystemDescription& system, const Amplifier& amplifier,
                            const AmplifierChannel& channel) {
  const Speaker& speaker = speaker_of(system, channel);
  PlannedChannel planned{};
  planned.name = channel.name;
  planned.amplifier = amplifier.name;
  planned.control = channel.control;
  planned.switches = joined(amplifier.switches, channel.switches);
  planned.inputs = channel.inputs;
  planned.role = channel.role;
  planned.bridged = channel.bridged;
  planned.bridge_tied = amplifier.bridge_tied || channel.bridged;
  planned.load = speaker.impedance / channel.speakers;
  planned.described = described_as(system, amplifier, channel, planned.load);
  planned.limits = limits_of(planned.described);
  planned.wanted = electric::rated_target(planned.described).volts;
  planned.target = electric::target_for(planned.described);
  planned.limited_by = planned.target.limited_by;
  planned.reachable = true;
  planned.overlap = electric::overlap_for(planned.target, planned.described, system.tone_level);
  // What the supply takes away is no fault of the gain's: the control is set for what is left.
  const Volts goal =
      planned.limits.supply ? std::min(planned.wanted, *planned.limits.supply) : planned.wanted;
  add_gain(system, amplifier, planned, goal);
  planned.tone = tone_for(system, channel);
  planned.meter_reads_tone = reads(system, planned.tone);
  add_cable(channel, planned);
  planned.sound_level = sound_level(speaker, channel.speakers, planned.target.volts);
  return planned;
}

// The order of work: a checklist from the battery to the sheet, with its cautions.

namespace {

std::string volts(Volts value) {
  return format_quantity(value, 4, Zeros::keep);
}

Step wiring(const Plan& plan) {
  std::string detail = "Fuses near the battery";
  for (const PlannedFeed& feed : plan.feeds) {
    detail += "; " + feed.name + ": " + electric::describe(feed.cable.gauge) +
              (feed.fuse ? ", fuse " + format_quantity(*feed.fuse) : ", no fuse described");
  }
  return {"Check the wiring with the battery disconnected", detail + ".",
          "Negative terminal off first and on last. Airbag connectors under seats only with the "
          "battery off, and as the vehicle's maker says. Local codes and licensed practice come "
          "first."};
}

Step tap_step(const Plan& plan) {
  std::string detail = "For " + volts(plan.tap.largest) + " at " + plan.tap.at;
  if (plan.tap.tap) {
    const auto& parts = plan.tap.tap->parts;
    detail +=
        ": " + electric::describe_resistors(parts.series_each, parts.shunt, plan.tap.bridge_tied);
  } else {
    detail += ": give the input's full scale, then railtap attenuator chooses the parts";
  }
  return {
      "Build or check the tap", detail + ".",
      plan.tap.bridge_tied
          ? "No speaker terminal is ground: never let one touch the chassis or a plug's sleeve. "
            "The laptop runs from its battery with nothing else plugged in."
          : ""};
}

Step prepare(const SystemDescription& system) {
  std::string detail = "Speakers off, or dummy loads that take the power. Gains fully down. On " +
                       system.head_unit.name + ": tone controls and balance flat, loudness off.";
  for (const Amplifier& amplifier : system.amplifiers) {
    if (!amplifier.switches.empty())
      detail += " On " + amplifier.name + ": " + listed(amplifier.switches) + ".";
  }
  return {"Switch everything to flat, and write down how it was found", detail,
          "Dummy loads get hot."};
}

Step calibrate_step(const SystemDescription& system) {
  const bool low = system.meter && system.meter->highest_frequency &&
                   *system.meter->highest_frequency < Hertz(1000.0);
  return {"Calibrate the recording in volts",
          std::string("Play the ") + (low ? "100 Hz" : "1 kHz") +
              " calibration tone at a low level, read the meter at the tap, run railtap calibrate.",
          ""};
}

Step source_step(const SystemDescription& system) {
  const HeadUnit& unit = system.head_unit;
  std::string detail =
      "Play the 1 kHz tone at 0 dBFS, turn the volume up step by step while recording, run railtap "
      "onset: the highest clean step of " +
      std::to_string(unit.volume_steps) + " and its volts";
  if (unit.clean_output) {
    detail += "; described as " + volts(*unit.clean_output);
    if (unit.clean_step) detail += " at step " + std::to_string(*unit.clean_step);
  }
  return {"Find the head unit's limit", detail + ". Mark that step.",
          "Engine or charger running, so that the supply is what it will be. Run an engine "
          "outdoors only."};
}

Step gain_step(const std::vector<const PlannedChannel*>& group, const Plan& plan) {
  const PlannedChannel& first = *group.front();
  std::string names;
  for (const PlannedChannel* channel : group) names += (names.empty() ? "" : ", ") + channel->name;
  std::string detail =
      "Set-up tone " + format_quantity(first.tone) + " at " + format_fixed(plan.tone_level, 0) +
      ", volume at the mark. Raise the gain to " + volts(first.target.volts) + " at " + names;
  if (first.gain && first.gain->verdict == GainLanding::Verdict::within)
    detail += ", about " + format_fixed(first.gain->travel, 0) + " of its travel";
  return {"Set " + first.control + " on " + first.amplifier, detail + ".",
          "Turn up slowly from minimum; stop where THD+N rises or tops flatten."};
}

Step verify_step() {
  return {
      "Verify",
      "Play the channel, polarity, sweep and silence tracks, run railtap verify: nothing swapped, "
      "silent or inverted, nothing filtered that should not be, hiss low.",
      ""};
}

Step last_step() {
  return {
      "Reconnect, listen, write it down",
      "Volume down before the speakers are connected. Note gains and switches with railtap "
      "record, make the sheet, keep it with the vehicle.",
      "Stay out of the cabin while tones play: 85 dB(A) is safe for 8 hours, 100 dB(A) for 15 "
      "minutes [NIOSH 98-126]. Never a long tone at full level into a speaker: it burns coils."};
}

}  // namespace

std::vector<std::vector<const PlannedChannel*>> channels_by_control(const Plan& plan) {
  std::vector<std::vector<const PlannedChannel*>> groups;
  for (const PlannedChannel& channel : plan.channels) {
    const auto same = std::find_if(groups.begin(), groups.end(), [&channel](const auto& group) {
      return group.front()->amplifier == channel.amplifier &&
             group.front()->control == channel.control;
    });
    if (same == groups.end()) {
      groups.push_back({&channel});
    } else {
      same->push_back(&channel);
    }
  }
  return groups;
}

std::vector<Step> order_of_work(const SystemDescription& system, const Plan& plan) {
  std::vector<Step> steps{
      wiring(plan),
      {"Make the test tones", "railtap tones writes them for a USB stick or disc.", ""},
      tap_step(plan),
      prepare(system),
      calibrate_step(system),
      source_step(system)};
  for (const auto& group : channels_by_control(plan)) steps.push_back(gain_step(group, plan));
  steps.push_back(verify_step());
  steps.push_back(last_step());
  return steps;
}

}  // namespace railtap::system
