// SPDX-License-Identifier: MIT
// The order of work: a checklist from the battery to the sheet, with its cautions.
#include <algorithm>

#include "system/plan.hpp"
#include "units/print.hpp"

namespace railtap::system {
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
  return {"Make everything flat, and write down how it was found", detail, "Dummy loads get hot."};
}

Step calibrate_step(const SystemDescription& system) {
  const bool low = system.meter && system.meter->highest_frequency &&
                   *system.meter->highest_frequency < Hertz(1000.0);
  return {"Tie the recording to volts",
          std::string("Play the ") + (low ? "100 Hz" : "1 kHz") +
              " calibration tone softly, read the meter at the tap, run railtap calibrate.",
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
          "Engine or charger running, so that the supply is what it will be. Engine: only with the "
          "exhaust in the open."};
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
          "Turn slowly from the bottom; stop where THD+N rises or tops flatten."};
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
      "Ears out of the cabin while tones play: 85 dB(A) is safe for 8 hours, 100 dB(A) for 15 "
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
