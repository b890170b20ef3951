// SPDX-License-Identifier: MIT
// A plan as the document "railtap.plan/1".
#include "report/attenuator_text.hpp"
#include "report/json_values.hpp"
#include "report/plan.hpp"
#include "system/json_text.hpp"

namespace railtap::report {
namespace {

using system::GainLanding;
using system::PlanLimit;
using system::PlannedChannel;
using system::PlannedFeed;

Json gain_json(const std::optional<GainLanding>& gain) {
  if (!gain) return nullptr;
  return {{"verdict", name(gain->verdict)},
          {"input_v", json_number(gain->input.value())},
          {"sensitivity_v", json_number(gain->sensitivity.value())},
          {"travel_percent", json_number(gain->travel.value())},
          {"missing_db", json_number(gain->missing.value())}};
}

Json tone_json(const PlannedChannel& channel) {
  const electric::Overlap& overlap = channel.overlap;
  return {{"frequency_hz", json_number(channel.tone.value())},
          {"level_dbfs", json_number(overlap.tone_level.value())},
          {"in_meter_band", channel.meter_reads_tone},
          {"overlap_db", json_number(overlap.overlap.value())},
          {"full_scale_overdrive_db", json_number(overlap.full_scale_overdrive.value())},
          {"full_scale_thd_percent", json_number(overlap.full_scale_thd.value())},
          {"full_scale_power_w", json_number(overlap.full_scale_power.value())},
          {"without_overlap_v", json_number(overlap.without_overlap.value())}};
}

Json limits_json(const system::ChannelLimits& limits) {
  return {{"amplifier_v", json_number(limits.amplifier.value())},
          {"speaker_v", json_number(limits.speaker)},
          {"supply_v", json_number(limits.supply)},
          {"head_unit_v", json_number(limits.head_unit)}};
}

Json channel_json(const PlannedChannel& channel) {
  return {{"name", channel.name},
          {"amplifier", channel.amplifier},
          {"role", channel.role == system::Role::bass ? "bass" : "doors"},
          {"inputs", channel.inputs},
          {"control", channel.control},
          {"switches", channel.switches},
          {"bridged", channel.bridged},
          {"bridge_tied", channel.bridge_tied},
          {"load_ohm", json_number(channel.load.value())},
          {"target_v", json_number(channel.target.volts.value())},
          {"target_v_peak", json_number(channel.target.peak.value())},
          {"power_w", json_number(channel.target.power.value())},
          {"current_a", json_number(channel.target.current.value())},
          {"wanted_v", json_number(channel.wanted.value())},
          {"limited_by", name(channel.limited_by)},
          {"limits", limits_json(channel.limits)},
          {"reachable", channel.reachable},
          {"gain", gain_json(channel.gain)},
          {"tone", tone_json(channel)},
          {"cable_ohm", json_number(channel.cable)},
          {"cable_loss_db", json_number(channel.cable_loss)},
          {"sound_level_db", json_number(channel.sound_level)}};
}

Json tap_json(const system::PlannedTap& planned) {
  Json json = {{"largest_v", json_number(planned.largest.value())},
               {"at", planned.at},
               {"bridge_tied", planned.bridge_tied},
               {"described", planned.described},
               {"series_each_ohm", nullptr},
               {"shunt_ohm", nullptr},
               {"gain_db", nullptr},
               {"full_scale_v", nullptr},
               {"volts_per_full_scale", nullptr},
               {"faults", Json::array()}};
  if (!planned.tap) return json;
  const electric::Tap& tap = *planned.tap;
  json["series_each_ohm"] = json_number(tap.parts.series_each.value());
  json["shunt_ohm"] = json_number(tap.parts.shunt.value());
  json["gain_db"] = json_number(tap.gain.value());
  json["full_scale_v"] = json_number(tap.full_scale.value());
  json["volts_per_full_scale"] = json_number(tap.full_scale_peak.value());
  for (const electric::TapFault fault : tap.faults) json["faults"].push_back(fault_text(fault));
  return json;
}

Json matching_json(const system::Matching& matching) {
  std::optional<Decibels> difference;
  if (matching.doors && matching.bass) difference = *matching.bass - *matching.doors;
  return {{"doors_db", json_number(matching.doors)},
          {"bass_db", json_number(matching.bass)},
          {"bass_over_doors_db", json_number(difference)}};
}

Json feed_json(const PlannedFeed& feed) {
  return {{"name", feed.name},
          {"amplifiers", feed.amplifiers},
          {"area_mm2", json_number(feed.cable.gauge.area.value())},
          {"awg", feed.cable.gauge.awg ? Json(*feed.cable.gauge.awg) : Json(nullptr)},
          {"length_m", json_number(feed.cable.length.value())},
          {"path_m", json_number(path_of(feed.cable).value())},
          {"resistance_ohm", json_number(feed.resistance.value())},
          {"full_current_a", json_number(feed.full.value())},
          {"music_current_a", json_number(feed.music.value())},
          {"drop_v", json_number(feed.drop.value())},
          {"drop_percent", json_number(feed.drop_share.value())},
          {"at_amplifier_v", json_number(feed.at_amplifier.value())},
          {"clipping_change_db", json_number(feed.clipping_change.value())},
          {"fuse_a", json_number(feed.fuse)},
          {"ampacity_a", json_number(feed.ampacity)},
          {"ampacity_by_table", feed.ampacity_by_table},
          {"drop_passes", feed.drop_passes},
          {"fuse_protects_cable", feed.fuse_protects},
          {"fuse_carries_music", feed.fuse_carries},
          {"cable_carries_music", feed.cable_carries}};
}

Json supply_json(const system::Plan& plan) {
  Json amplifiers = Json::array();
  Amperes full{0.0};
  Amperes music{0.0};
  for (const system::PlannedAmplifier& amplifier : plan.amplifiers) {
    full += amplifier.full;
    music += amplifier.music;
    amplifiers.push_back({{"name", amplifier.name},
                          {"efficiency_percent", json_number(amplifier.efficiency.value())},
                          {"efficiency_assumed", amplifier.efficiency_assumed},
                          {"full_current_a", json_number(amplifier.full.value())},
                          {"music_current_a", json_number(amplifier.music.value())}});
  }
  Json feeds = Json::array();
  for (const PlannedFeed& feed : plan.feeds) feeds.push_back(feed_json(feed));
  return {{"voltage_v", json_number(plan.supply.value())},
          {"available_a", json_number(plan.available)},
          {"full_current_a", json_number(full.value())},
          {"music_current_a", json_number(music.value())},
          {"amplifiers", amplifiers},
          {"feeds", feeds}};
}

}  // namespace

const char* name(PlanLimit limit) {
  switch (limit) {
    case PlanLimit::amplifier:
      return "amplifier";
    case PlanLimit::speaker:
      return "speaker";
    case PlanLimit::supply:
      return "supply";
    case PlanLimit::head_unit:
      break;
  }
  return "head-unit";
}

const char* name(GainLanding::Verdict verdict) {
  switch (verdict) {
    case GainLanding::Verdict::within:
      return "within";
    case GainLanding::Verdict::too_little:
      return "too-little";
    case GainLanding::Verdict::too_much:
      break;
  }
  return "too-much";
}

std::vector<std::string> plan_warnings(const system::Plan& plan) {
  std::vector<std::string> warnings = plan.warnings;
  if (!plan.tap.tap) return warnings;
  for (const electric::TapFault fault : plan.tap.tap->faults)
    warnings.push_back("tap: " + fault_text(fault));
  return warnings;
}

std::string plan_json(const system::Plan& plan) {
  Json json;
  json["schema"] = "railtap.plan/1";
  json["name"] = plan.name;
  json["passes"] = passes(plan);
  json["tone_level_dbfs"] = json_number(plan.tone_level.value());
  json["tolerance_db"] = json_number(plan.tolerance.value());
  json["channels"] = Json::array();
  for (const PlannedChannel& channel : plan.channels)
    json["channels"].push_back(channel_json(channel));
  json["attenuator"] = tap_json(plan.tap);
  json["matching"] = matching_json(plan.matching);
  json["supply"] = supply_json(plan);
  json["order"] = Json::array();
  for (const system::Step& step : plan.order) {
    json["order"].push_back(
        {{"title", step.title},
         {"detail", step.detail},
         {"caution", step.caution.empty() ? Json(nullptr) : Json(step.caution)}});
  }
  json["warnings"] = plan_warnings(plan);
  return system::json_page(json);
}

}  // namespace railtap::report
