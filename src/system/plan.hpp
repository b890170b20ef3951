// SPDX-License-Identifier: MIT
// The plan: from a described system to targets, gains, tap, supply and the order of work.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "electric/attenuator.hpp"
#include "electric/target.hpp"
#include "system/system_description.hpp"
#include "units/quantity.hpp"

namespace railtap::system {

/// What a channel's target rests on: the lowest of these voltages.
enum class PlanLimit { amplifier, speaker, supply, head_unit };

/// RMS at the amplifier's terminals that each of them allows.
struct ChannelLimits {
  Volts amplifier{0.0};            ///< √(rated power · rated load)
  std::optional<Volts> speaker;    ///< √(its power · its impedance)
  std::optional<Volts> supply;     ///< the rating scaled by the supply, where that is lower
  std::optional<Volts> head_unit;  ///< its clean output times the highest gain
};

/// Where a gain control has to stand.
struct GainLanding {
  enum class Verdict {
    within,
    too_little,  ///< fully up, the target is not reached
    too_much     ///< fully down, the target is exceeded
  } verdict;
  Volts input;  ///< RMS of the set-up tone at the amplifier's input, at the highest clean step
  Volts sensitivity;  ///< input for rated power that the control has to stand at
  Percent travel;     ///< from fully down, for a logarithmic control; 0 … 100
  Decibels missing;   ///< outside the range: by how much, > 0
};

struct PlannedChannel {
  std::string name, amplifier, control, switches;
  std::vector<std::string> inputs;
  Role role;
  bool bridged, bridge_tied;
  Ohms load;  ///< what the speakers are
  ChannelLimits limits;
  PlanLimit limited_by;
  Volts wanted;  ///< what amplifier and speaker allow
  electric::Target target;
  bool reachable;
  std::optional<GainLanding> gain;  ///< none where the head unit's clean output is not known
  Hertz tone;
  bool meter_reads_tone;
  electric::Overlap overlap;
  std::optional<Ohms> cable;            ///< to the speaker, there and back
  std::optional<Decibels> cable_loss;   ///< <= 0
  std::optional<Decibels> sound_level;  ///< of one channel at the target, at 1 m
};

/// A tap for the largest voltage.
struct PlannedTap {
  Volts largest{0.0};
  std::string at;  ///< the channel that has it
  bool bridge_tied = false;
  bool described = false;            ///< it is the one in the file
  std::optional<electric::Tap> tap;  ///< none where the input's full scale is not known
};

/// What the sound level of the bass is against that of the doors, each channel at its target.
struct Matching {
  std::optional<Decibels> doors, bass;  ///< mean level of a channel at 1 m
};

struct PlannedAmplifier {
  std::string name;
  Percent efficiency;
  bool efficiency_assumed;
  Amperes full;   ///< every channel at its target with a sine
  Amperes music;  ///< loud music
};

struct PlannedFeed {
  std::string name;
  std::vector<std::string> amplifiers;
  Cable cable;
  Ohms resistance;
  Amperes full, music;
  Volts drop, at_amplifier;  ///< at `full`
  Percent drop_share;        ///< of the supply
  Decibels clipping_change;  ///< of amplifiers without a regulated supply, <= 0
  std::optional<Amperes> fuse, ampacity;
  bool ampacity_by_table = false;
  bool drop_passes, fuse_protects, fuse_carries, cable_carries;
};

[[nodiscard]] inline bool passes(const PlannedFeed& feed) {
  return feed.drop_passes && feed.fuse_protects && feed.fuse_carries && feed.cable_carries;
}

/// One line of the checklist.
struct Step {
  std::string title, detail, caution;  ///< the last may be empty
};

struct Plan {
  std::string name;
  Dbfs tone_level;
  Decibels tolerance;
  std::vector<PlannedChannel> channels;
  PlannedTap tap;
  Matching matching;
  Volts supply;
  std::optional<Amperes> available;
  std::vector<PlannedAmplifier> amplifiers;
  std::vector<PlannedFeed> feeds;
  std::vector<Step> order;
  std::vector<std::string> warnings;
};

/// Everything that follows from the description. Formulas: docs/method.md, "The plan".
/// \throws Error for values that the targets' formulas refuse
[[nodiscard]] Plan make_plan(const SystemDescription& system);

/// Channels that share a control of an amplifier, which are set together; in the plan's order. The
/// pointers are into `plan`.
[[nodiscard]] std::vector<std::vector<const PlannedChannel*>> channels_by_control(const Plan& plan);

/// Every target can be reached, and the supply stands it.
[[nodiscard]] bool passes(const Plan& plan);

/// The parts of it, in files of their own.
[[nodiscard]] PlannedChannel plan_channel(const SystemDescription& system,
                                          const Amplifier& amplifier,
                                          const AmplifierChannel& channel);
[[nodiscard]] PlannedTap plan_tap(const SystemDescription& system, const Plan& plan,
                                  std::vector<std::string>& warnings);
/// Reads `plan.channels`; fills in amplifiers and feeds.
void plan_supply(const SystemDescription& system, Plan& plan);
/// Reads everything else of the plan.
[[nodiscard]] std::vector<Step> order_of_work(const SystemDescription& system, const Plan& plan);

}  // namespace railtap::system
