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

/// What a channel's target rests on; no clipping is measured yet.
using PlanLimit = electric::Limit;

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

/// One amplifier channel: what it is to deliver, what limits that, and how its gain is set.
struct PlannedChannel {
  std::string name, amplifier, control, switches;  ///< switches: as they are to stand
  std::vector<std::string> inputs;                 ///< outputs of the head unit
  Role role;
  bool bridged, bridge_tied;  ///< bridge_tied: no terminal is ground
  Ohms load;                  ///< the speakers, in parallel where there are several
  ChannelLimits limits;
  electric::Channel described;  ///< its ratings into `load`, and what is below them
  PlanLimit limited_by;
  Volts wanted;             ///< what amplifier and speaker allow
  electric::Target target;  ///< electric::target_for(described)
  bool reachable;  ///< the gain gets there within the tolerance; true where that is not known
  std::optional<GainLanding> gain;  ///< none where the head unit's clean output is not known
  Hertz tone;                       ///< to set the gain with
  bool meter_reads_tone;            ///< it lies in the meter's band; true where that is not known
  electric::Overlap overlap;
  std::optional<Ohms> cable;            ///< to the speaker, there and back
  std::optional<Decibels> cable_loss;   ///< <= 0
  std::optional<Decibels> sound_level;  ///< of one channel at the target, at 1 m
};

/// A tap for the largest voltage.
struct PlannedTap {
  Volts largest{0.0};
  std::string at;  ///< the channel that has it, or the head unit
  bool bridge_tied = false;
  bool described = false;            ///< it is the one in the file
  std::optional<electric::Tap> tap;  ///< none without the input's full scale, or if no parts serve
};

/// What the sound level of the bass is against that of the doors, each channel at its target.
struct Matching {
  std::optional<Decibels> doors, bass;           ///< mean level of a channel at 1 m
  std::optional<Decibels> bass_over_doors;       ///< where both are known
  std::vector<std::string> without_sensitivity;  ///< names of the speakers that lack it
};

/// What an amplifier draws from the supply while it runs.
struct PlannedAmplifier {
  std::string name;
  Percent efficiency;       ///< at full power
  bool efficiency_assumed;  ///< it is the usual one of its class
  Amperes full;             ///< every channel at its target with a sine
  Amperes music;            ///< loud music, an eighth of the sines' power
};

/// A feed under the currents of its amplifiers. It passes where no more than 3 % of the supply is
/// lost, the fuse is not above what the cable can carry, and both carry loud music. A check whose
/// figures are not known passes.
struct PlannedFeed {
  std::string name;
  std::vector<std::string> amplifiers;
  Cable cable;
  Ohms resistance;                        ///< of the copper, see path_of
  Amperes full, music;                    ///< as of PlannedAmplifier, all together
  Volts drop, at_amplifier;               ///< at `full`
  Percent drop_share;                     ///< of the supply
  Decibels clipping_change;               ///< of amplifiers without a regulated supply, <= 0
  std::optional<Amperes> fuse, ampacity;  ///< ampacity: what the cable stands all the time
  bool ampacity_by_table = false;         ///< by electric::cable_ampacity, not by its maker
  bool drop_passes, fuse_protects, fuse_carries, cable_carries;
};

/// Whether all four checks pass.
[[nodiscard]] inline bool passes(const PlannedFeed& feed) {
  return feed.drop_passes && feed.fuse_protects && feed.fuse_carries && feed.cable_carries;
}

/// One line of the checklist.
struct Step {
  std::string title, detail, caution;  ///< the last may be empty
};

/// All that follows from a described system.
struct Plan {
  std::string name;
  Dbfs tone_level;                       ///< of the set-up tone
  Decibels tolerance;                    ///< of a reading
  std::vector<PlannedChannel> channels;  ///< in the order of the description
  PlannedTap tap;
  Matching matching;
  Volts supply;                      ///< at the battery, running
  std::optional<Amperes> available;  ///< that the supply gives all the time
  std::vector<PlannedAmplifier> amplifiers;
  Amperes full{0.0}, music{0.0};  ///< as of PlannedAmplifier, all together
  std::vector<PlannedFeed> feeds;
  std::vector<Step> order;            ///< of the work
  std::vector<std::string> warnings;  ///< a line each
};

/// The warning where the head unit's clean output is not described.
inline constexpr const char* clean_output_unknown =
    "the head unit's clean output is not known: find it with railtap onset and put it into the "
    "file "
    "as clean_output; only then can the plan say where each gain will be";

/// Everything that follows from the description. Formulas: docs/method.md, "The plan".
/// \throws Error for values that the targets' formulas refuse
[[nodiscard]] Plan make_plan(const SystemDescription& system);

/// Channels that share a control of an amplifier, which are set together; in the plan's order. The
/// pointers are into `plan`.
[[nodiscard]] std::vector<std::vector<const PlannedChannel*>> channels_by_control(const Plan& plan);

/// Every target can be reached, and every feed passes. Currents beyond what the supply gives are
/// among the warnings only.
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
