// SPDX-License-Identifier: MIT
// One channel of the plan: its target, what limits it, and where its gain lands.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "system/plan.hpp"

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

}  // namespace railtap::system
