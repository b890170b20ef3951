// SPDX-License-Identifier: MIT
// A plan as a document, as text, and as a checklist to print.
#include "report/plan.hpp"

#include <algorithm>

#include "report/attenuator.hpp"
#include "report/target.hpp"
#include "system/json.hpp"
#include "units/print.hpp"
#include "units/visible.hpp"

namespace railtap::report {
namespace {

using system::GainLanding;
using system::Json;
using system::json_number;
using system::PlannedChannel;
using system::PlannedFeed;

}  // namespace

// --- document ------------------------------------------------------------------------------------

namespace {

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
  json.set("series_each_ohm", json_number(tap.parts.series_each.value()));
  json.set("shunt_ohm", json_number(tap.parts.shunt.value()));
  json.set("gain_db", json_number(tap.gain.value()));
  json.set("full_scale_v", json_number(tap.full_scale.value()));
  json.set("volts_per_full_scale", json_number(tap.full_scale_peak.value()));
  Json faults = Json::array();
  for (const electric::TapFault fault : tap.faults) faults.push_back(fault_text(fault));
  json.set("faults", std::move(faults));
  return json;
}

Json matching_json(const system::Matching& matching) {
  return {{"doors_db", json_number(matching.doors)},
          {"bass_db", json_number(matching.bass)},
          {"bass_over_doors_db", json_number(matching.bass_over_doors)},
          {"without_sensitivity", matching.without_sensitivity}};
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
  for (const system::PlannedAmplifier& amplifier : plan.amplifiers) {
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
          {"full_current_a", json_number(plan.full.value())},
          {"music_current_a", json_number(plan.music.value())},
          {"amplifiers", amplifiers},
          {"feeds", feeds}};
}

}  // namespace

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

Json plan_json(const system::Plan& plan) {
  Json json;
  json.set("schema", "railtap.plan/1");
  json.set("name", plan.name);
  json.set("passes", passes(plan));
  json.set("tone_level_dbfs", json_number(plan.tone_level.value()));
  json.set("tolerance_db", json_number(plan.tolerance.value()));
  Json channels = Json::array();
  for (const PlannedChannel& channel : plan.channels) channels.push_back(channel_json(channel));
  json.set("channels", std::move(channels));
  json.set("attenuator", tap_json(plan.tap));
  json.set("matching", matching_json(plan.matching));
  json.set("supply", supply_json(plan));
  Json order = Json::array();
  for (const system::Step& step : plan.order) {
    order.push_back({{"title", step.title},
                     {"detail", step.detail},
                     {"caution", step.caution.empty() ? Json(nullptr) : Json(step.caution)}});
  }
  json.set("order", std::move(order));
  json.set("warnings", plan_warnings(plan));
  return json;
}

// --- words ---------------------------------------------------------------------------------------

namespace {

std::string volts(Volts value) {
  return format_quantity(value, 4, Zeros::keep);
}

std::string gain_text(const GainLanding& gain) {
  const std::string input = format_quantity(gain.input, 3) + " in: ";
  if (gain.verdict == GainLanding::Verdict::too_little)
    return input + "gain fully up, still " + format_fixed(gain.missing, 1) + " short";
  if (gain.verdict == GainLanding::Verdict::too_much)
    return input + "gain fully down, still " + format_fixed(gain.missing, 1) + " too loud";
  return input + "gain at its " + format_quantity(gain.sensitivity, 3) + " mark, about " +
         format_fixed(gain.travel, 0) + " of its travel (logarithmic control)";
}

std::string tone_text(const PlannedChannel& channel) {
  const electric::Overlap& overlap = channel.overlap;
  std::string text =
      "tone " + format_quantity(channel.tone) + " at " + format_fixed(overlap.tone_level, 0);
  if (overlap.overlap == Decibels(0.0)) return text + ", no overlap";
  text += "; at full scale " + format_fixed(overlap.full_scale_overdrive, 1) + " over, " +
          format_quantity(overlap.full_scale_thd, 2) + " THD, " +
          format_quantity(overlap.full_scale_power, 3);
  return text + "; without overlap set " + volts(overlap.without_overlap);
}

std::string channel_text(const PlannedChannel& channel) {
  std::string text = "  " + visible(channel.name) + ": " + volts(channel.target.volts) + " (" +
                     format_quantity(channel.target.power, 3) + " into " +
                     format_quantity(channel.load) + "), limited by the " +
                     in_words(channel.limited_by) + "\n";
  // That no gain's position is known yet, and why, is among the warnings.
  if (channel.gain) text += "    " + gain_text(*channel.gain) + "\n";
  text += "    " + tone_text(channel) + "\n";
  if (channel.cable_loss)
    text += "    the speaker cable loses " + format_fixed(-*channel.cable_loss, 2) + "\n";
  return text;
}

std::string channels_text(const system::Plan& plan) {
  std::string text;
  std::string amplifier;
  for (const PlannedChannel& channel : plan.channels) {
    if (channel.amplifier != amplifier) text += visible(channel.amplifier) + "\n";
    amplifier = channel.amplifier;
    text += channel_text(channel);
  }
  return text;
}

std::string tap_text(const system::PlannedTap& tap) {
  std::string text = "Tap: for " + volts(tap.largest) + " at " + visible(tap.at) +
                     (tap.bridge_tied ? ", bridge-tied" : "") + "\n";
  if (!tap.tap) return text;
  const auto& parts = tap.tap->parts;
  return text + "  " +
         electric::describe_resistors(parts.series_each, parts.shunt, tap.bridge_tied) + ", " +
         format_fixed(tap.tap->gain, 1) + "; full at " + volts(tap.tap->full_scale) +
         (tap.described ? " (as described)\n" : "; railtap attenuator shows the wiring\n");
}

std::string matching_text(const system::Matching& matching) {
  if (!matching.without_sensitivity.empty()) {
    return "Doors and bass: to compare their sound levels, give the sensitivity of " +
           visible(listed(matching.without_sensitivity)) + ".\n";
  }
  if (!matching.bass_over_doors) return "";  // only one of them is described
  return "Doors and bass: a bass channel at its target is " +
         format_fixed(*matching.bass_over_doors, 1, Sign::always) +
         " against a door channel, at 1 m and without the cabin's gain; judge it by ear.\n";
}

std::string feed_text(const PlannedFeed& feed) {
  std::string text = "  " + visible(feed.name) + ": " + electric::describe(feed.cable.gauge) +
                     ", " + format_quantity(path_of(feed.cable), 3) + " of copper, " +
                     format_quantity(feed.resistance, 3) + ": " + format_quantity(feed.drop, 3) +
                     " lost at " + format_quantity(feed.full, 3) + " (" +
                     format_quantity(feed.drop_share, 2) + ")";
  if (feed.clipping_change < Decibels(0.0))
    text += ", clipping " + format_fixed(-feed.clipping_change, 2) + " earlier";
  text += "\n    fuse " + (feed.fuse ? format_quantity(*feed.fuse) : std::string("not described"));
  if (feed.ampacity)
    text += ", the cable is rated " + format_quantity(*feed.ampacity, 3) +
            (feed.ampacity_by_table ? " (PVC for 70 °C)" : "");
  return text + (passes(feed) ? "\n" : "  NOT GOOD\n");
}

std::string supply_text(const system::Plan& plan) {
  std::string text = "Supply " + format_quantity(plan.supply, 3) + "\n";
  for (const system::PlannedAmplifier& amplifier : plan.amplifiers) {
    text += "  " + visible(amplifier.name) + ": " + format_quantity(amplifier.full, 3) +
            " with sines at every target, " + format_quantity(amplifier.music, 3) +
            " with loud music, at " + format_quantity(amplifier.efficiency, 3) + " efficiency" +
            (amplifier.efficiency_assumed ? " (assumed, common practice)\n" : "\n");
  }
  for (const PlannedFeed& feed : plan.feeds) text += feed_text(feed);
  return text;
}

// The step before has the same caution: several gains are set one after the other.
bool said_before(const system::Plan& plan, std::size_t step) {
  return step > 0 && plan.order[step - 1].caution == plan.order[step].caution;
}

std::string order_text(const system::Plan& plan) {
  std::string text = "Order of work\n";
  for (std::size_t n = 0; n < plan.order.size(); ++n) {
    const system::Step& step = plan.order[n];
    const std::string number = std::to_string(n + 1);
    text += (number.size() < 2 ? "  " : " ") + number + ". " + visible(step.title) + "\n     " +
            visible(step.detail) + "\n";
    if (!step.caution.empty() && !said_before(plan, n))
      text += "     CAUTION: " + visible(step.caution) + "\n";
  }
  return text;
}

bool is_letter_or_digit(char c) {
  return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') ||
         static_cast<unsigned char>(c) >= 0x80U;
}

/// "&amp;" or "&#38;", which would be shown as what it stands for.
bool begins_entity(std::string_view text) {
  std::size_t end = 1;
  while (end < text.size() && (text[end] == '#' || is_letter_or_digit(text[end]))) ++end;
  return end > 1 && end < text.size() && text[end] == ';';
}

/// Whether Markdown would take the character there for its own, inside a line of text or of a table
/// [CommonMark 0.30, 2.4, 2.5, 6.1 to 6.6; GitHub Flavored Markdown 0.29, 4.10, 6.5].
bool is_markup(std::string_view text, std::size_t at) {
  const char before = at == 0 ? ' ' : text[at - 1];
  const char after = at + 1 == text.size() ? ' ' : text[at + 1];
  switch (text[at]) {
    case '\\':
    case '`':
    case '*':
    case '<':
    case '|':
    case '~':
      return true;
    case '_':  // between letters it is one
      return !is_letter_or_digit(before) || !is_letter_or_digit(after);
    case '&':
      return begins_entity(text.substr(at));
    case '(':  // what makes a link of [text](place)
      return before == ']';
    default:
      return false;
  }
}

/// What Markdown or HTML in it would take for its own is shown as it is.
std::string plain_markdown(const std::string& text) {
  const std::string plain = visible(text);
  std::string result;
  for (std::size_t at = 0; at < plain.size(); ++at) {
    if (is_markup(plain, at)) result += '\\';
    result += plain[at];
  }
  return result;
}

std::string markdown_row(const PlannedChannel& channel) {
  const bool lands = channel.gain && channel.gain->verdict == GainLanding::Verdict::within;
  return "| " + plain_markdown(channel.name) + " | " + plain_markdown(channel.control) + " | " +
         volts(channel.target.volts) + " | " + in_words(channel.limited_by) + " | " +
         format_quantity(channel.tone) + " | " +
         (lands ? format_fixed(channel.gain->travel, 0) : std::string("?")) + " | | |\n";
}

}  // namespace

std::string plan_text(const system::Plan& plan) {
  std::string text =
      "Plan for " + visible(plan.name) + (passes(plan) ? "\n" : ": NOT GOOD as described\n");
  for (const std::string& warning : plan_warnings(plan)) text += "! " + visible(warning) + "\n";
  return text + "\n" + channels_text(plan) + "\n" + tap_text(plan.tap) +
         matching_text(plan.matching) + "\n" + supply_text(plan) + "\n" + order_text(plan);
}

std::string plan_markdown(const system::Plan& plan) {
  std::string text = "# Setting the gains: " + plain_markdown(plan.name) + "\n\n";
  for (const std::string& warning : plan_warnings(plan))
    text += "- **Note:** " + plain_markdown(warning) + "\n";
  text +=
      "\n| channel | control | target | limited by | tone | expected travel | reached | position "
      "|\n"
      "| --- | --- | --- | --- | --- | --- | --- | --- |\n";
  for (const PlannedChannel& channel : plan.channels) text += markdown_row(channel);
  text += "\n";
  for (std::size_t n = 0; n < plan.order.size(); ++n) {
    const system::Step& step = plan.order[n];
    text += "- [ ] **" + plain_markdown(step.title) + "** " + plain_markdown(step.detail) + "\n";
    if (!step.caution.empty() && !said_before(plan, n))
      text += "  *Caution: " + plain_markdown(step.caution) + "*\n";
  }
  return text;
}

std::string system_text(const system::SystemDescription& system) {
  std::string text = visible(system.name) + ": " + visible(system.head_unit.name) +
                     ", volume 0 to " + std::to_string(system.head_unit.volume_steps) + "\n";
  for (const system::Amplifier& amplifier : system.amplifiers) {
    text += "  " + visible(amplifier.name) + ", inputs " +
            format_quantity(amplifier.sensitivity_low) + " to " +
            format_quantity(amplifier.sensitivity_high) +
            (amplifier.feed.empty() ? "" : ", fed by " + visible(amplifier.feed)) + "\n";
    for (const system::AmplifierChannel& channel : amplifier.channels) {
      text += "    " + visible(channel.name) + ": " + format_quantity(channel.rated_power) +
              " at " + format_quantity(channel.rated_load) + (channel.bridged ? ", bridged" : "") +
              ", " + visible(channel.speaker) + ", control " + visible(channel.control) + "\n";
    }
  }
  if (system.meter) text += "  meter " + electric::describe(*system.meter) + "\n";
  return text;
}

}  // namespace railtap::report
