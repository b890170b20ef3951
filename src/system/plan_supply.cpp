// SPDX-License-Identifier: MIT
// The supply of the plan: currents, the drop along the cables, and fuses against cables.
#include <algorithm>
#include <cmath>

#include "system/plan.hpp"

namespace railtap::system {
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
  for (const Feed& feed : system.supply.feeds)
    plan.feeds.push_back(planned_feed(system, plan, feed));
}

}  // namespace railtap::system
