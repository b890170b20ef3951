// SPDX-License-Identifier: MIT
// A plan for a person: warnings, channels, tap, supply, order of work.
#include <algorithm>

#include "report/plan.hpp"
#include "report/printable.hpp"
#include "units/print.hpp"

namespace railtap::report {
namespace {

using system::GainLanding;
using system::PlannedChannel;
using system::PlannedFeed;

std::string volts(Volts value) {
  return format_quantity(value, 4, Zeros::keep);
}

std::string gain_text(const PlannedChannel& channel) {
  if (!channel.gain) return "where the gain lands is not known yet";
  const GainLanding& gain = *channel.gain;
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
  std::string text =
      "  " + printable(channel.name) + ": " + volts(channel.target.volts) + " (" +
      format_quantity(channel.target.power, 3) + " into " + format_quantity(channel.load) +
      "), limited by the " +
      (channel.limited_by == system::PlanLimit::head_unit ? "head unit"
                                                          : name(channel.limited_by)) +
      "\n    " + gain_text(channel) + "\n    " + tone_text(channel) + "\n";
  if (channel.cable_loss)
    text += "    the cable to the speaker takes " + format_fixed(-*channel.cable_loss, 2) + "\n";
  return text;
}

std::string channels_text(const system::Plan& plan) {
  std::string text;
  std::string amplifier;
  for (const PlannedChannel& channel : plan.channels) {
    if (channel.amplifier != amplifier) text += printable(channel.amplifier) + "\n";
    amplifier = channel.amplifier;
    text += channel_text(channel);
  }
  return text;
}

std::string tap_text(const system::PlannedTap& tap) {
  std::string text = "Tap: for " + volts(tap.largest) + " at " + printable(tap.at) +
                     (tap.bridge_tied ? ", bridge-tied" : "") + "\n";
  if (!tap.tap) return text;
  const auto& parts = tap.tap->parts;
  return text + "  " +
         electric::describe_resistors(parts.series_each, parts.shunt, tap.bridge_tied) + ", " +
         format_fixed(tap.tap->gain, 1) + "; full at " + volts(tap.tap->full_scale) +
         (tap.described ? " (as described)\n" : "; railtap attenuator shows the wiring\n");
}

std::string matching_text(const system::Matching& matching) {
  if (!matching.doors || !matching.bass)
    return "Doors and bass: sound levels need the speakers' sensitivity.\n";
  return "Doors and bass: a bass channel at its target is " +
         format_fixed(*matching.bass - *matching.doors, 1, Sign::always) +
         " against a door channel, at 1 m and without the cabin's gain; the ear decides.\n";
}

std::string feed_text(const PlannedFeed& feed) {
  std::string text = "  " + printable(feed.name) + ": " + electric::describe(feed.cable.gauge) +
                     ", " + format_quantity(path_of(feed.cable), 3) + " of copper, " +
                     format_quantity(feed.resistance, 3) + ": " + format_quantity(feed.drop, 3) +
                     " lost at " + format_quantity(feed.full, 3) + " (" +
                     format_quantity(feed.drop_share, 2) + ")";
  if (feed.clipping_change < Decibels(0.0))
    text += ", clipping " + format_fixed(-feed.clipping_change, 2) + " earlier";
  text += "\n    fuse " + (feed.fuse ? format_quantity(*feed.fuse) : std::string("not described"));
  if (feed.ampacity)
    text += ", the cable stands " + format_quantity(*feed.ampacity, 3) +
            (feed.ampacity_by_table ? " (PVC for 70 °C)" : "");
  return text + (passes(feed) ? "\n" : "  NOT GOOD\n");
}

std::string supply_text(const system::Plan& plan) {
  std::string text = "Supply " + format_quantity(plan.supply, 3) + "\n";
  for (const system::PlannedAmplifier& amplifier : plan.amplifiers) {
    text += "  " + printable(amplifier.name) + ": " + format_quantity(amplifier.full, 3) +
            " with sines at every target, " + format_quantity(amplifier.music, 3) +
            " with loud music, at " + format_quantity(amplifier.efficiency, 3) + " efficiency" +
            (amplifier.efficiency_assumed ? " (assumed, common practice)\n" : "\n");
  }
  for (const PlannedFeed& feed : plan.feeds) text += feed_text(feed);
  return text;
}

std::string order_text(const system::Plan& plan) {
  std::string text = "Order of work\n";
  for (std::size_t n = 0; n < plan.order.size(); ++n) {
    const system::Step& step = plan.order[n];
    const std::string number = std::to_string(n + 1);
    text += (number.size() < 2 ? "  " : " ") + number + ". " + printable(step.title) + "\n     " +
            printable(step.detail) + "\n";
    if (!step.caution.empty()) text += "     CAUTION: " + printable(step.caution) + "\n";
  }
  return text;
}

/// What Markdown or HTML in it would take for its own is shown as it is [CommonMark 0.30, 2.4].
std::string plain_markdown(const std::string& text) {
  std::string result;
  for (const char c : printable(text)) {
    if (std::string_view("\\`*_{}[]<>()#+-!|&~").find(c) != std::string_view::npos) result += '\\';
    result += c;
  }
  return result;
}

std::string markdown_row(const PlannedChannel& channel) {
  const bool lands = channel.gain && channel.gain->verdict == GainLanding::Verdict::within;
  return "| " + plain_markdown(channel.name) + " | " + plain_markdown(channel.control) + " | " +
         volts(channel.target.volts) + " | " + name(channel.limited_by) + " | " +
         format_quantity(channel.tone) + " | " +
         (lands ? format_fixed(channel.gain->travel, 0) : std::string("?")) + " | | |\n";
}

}  // namespace

std::string plan_text(const system::Plan& plan) {
  std::string text =
      "Plan for " + printable(plan.name) + (passes(plan) ? "\n" : ": NOT GOOD as described\n");
  for (const std::string& warning : plan_warnings(plan)) text += "! " + printable(warning) + "\n";
  return text + "\n" + channels_text(plan) + "\n" + tap_text(plan.tap) +
         matching_text(plan.matching) + "\n" + supply_text(plan) + "\n" + order_text(plan);
}

std::string plan_markdown(const system::Plan& plan) {
  std::string text = "# Setting the gains: " + plain_markdown(plan.name) + "\n\n";
  for (const std::string& warning : plan_warnings(plan))
    text += "- **Mind:** " + plain_markdown(warning) + "\n";
  text +=
      "\n| channel | control | target | limited by | tone | expected travel | reached | position "
      "|\n"
      "| --- | --- | --- | --- | --- | --- | --- | --- |\n";
  for (const PlannedChannel& channel : plan.channels) text += markdown_row(channel);
  text += "\n";
  for (const system::Step& step : plan.order) {
    text += "- [ ] **" + plain_markdown(step.title) + "** " + plain_markdown(step.detail) + "\n";
    if (!step.caution.empty()) text += "  *Caution: " + plain_markdown(step.caution) + "*\n";
  }
  return text;
}

std::string system_text(const system::SystemDescription& system) {
  std::string text = printable(system.name) + ": " + printable(system.head_unit.name) +
                     ", volume 0 to " + std::to_string(system.head_unit.volume_steps) + "\n";
  for (const system::Amplifier& amplifier : system.amplifiers) {
    text += "  " + printable(amplifier.name) + ", inputs " +
            format_quantity(amplifier.sensitivity_low) + " to " +
            format_quantity(amplifier.sensitivity_high) +
            (amplifier.feed.empty() ? "" : ", fed by " + printable(amplifier.feed)) + "\n";
    for (const system::AmplifierChannel& channel : amplifier.channels) {
      text += "    " + printable(channel.name) + ": " + format_quantity(channel.rated_power) +
              " at " + format_quantity(channel.rated_load) + (channel.bridged ? ", bridged" : "") +
              ", " + printable(channel.speaker) + ", control " + printable(channel.control) + "\n";
    }
  }
  if (system.meter) text += "  meter " + electric::describe(*system.meter) + "\n";
  return text;
}

}  // namespace railtap::report
