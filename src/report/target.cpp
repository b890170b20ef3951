// SPDX-License-Identifier: MIT
// The target voltage as a document and in words.
#include "report/target.hpp"

#include "units/print.hpp"
#include "units/visible.hpp"

namespace railtap::report {
namespace {

using namespace electric;
using system::Json;
using system::json_number;

}  // namespace

// --- document ------------------------------------------------------------------------------------

namespace {

constexpr const char* schema = "railtap.target/1";

void add_assessment(Json& json, const std::optional<Assessment>& assessment) {
  for (const auto* key :
       {"reading_v", "reading_uncertainty_v", "reading_power_w", "reading_power_low_w",
        "reading_power_high_w", "change_db", "change_low_db", "change_high_db", "direction",
        "reading_plausible", "meter_decides"}) {
    json.set(key, nullptr);
  }
  if (!assessment) return;
  json.set("reading_v", assessment->reading.value());
  json.set("reading_power_w", assessment->power.value());
  json.set("change_db", assessment->change.value());
  json.set("direction", name(assessment->direction));
  json.set("reading_plausible", assessment->plausible);
  if (!assessment->band) return;
  json.set("reading_uncertainty_v", assessment->band->uncertainty.value());
  json.set("reading_power_low_w", assessment->power_limits->low.value());
  json.set("reading_power_high_w", assessment->power_limits->high.value());
  json.set("change_low_db", json_number(assessment->change_low));
  json.set("change_high_db", json_number(assessment->change_high));
  json.set("meter_decides", assessment->meter_decides);
}

Json tone_json(const std::optional<Overlap>& overlap) {
  if (!overlap) return nullptr;
  return {{"level_dbfs", overlap->tone_level.value()},
          {"overlap_db", overlap->overlap.value()},
          {"full_scale_overdrive_db", overlap->full_scale_overdrive.value()},
          {"full_scale_thd_percent", overlap->full_scale_thd.value()},
          {"full_scale_power_w", overlap->full_scale_power.value()},
          {"without_overlap_v", overlap->without_overlap.value()},
          {"without_overlap_tone_power_w", overlap->tone_power.value()}};
}

Json supply_json(const std::optional<SupplyEffect>& supply) {
  if (!supply) return nullptr;
  return {{"supply_v", supply->supply.value()},
          {"change_db", supply->change.value()},
          {"reachable_v", supply->reachable.value()},
          {"rated_target_v", supply->at_rated.value()},
          {"reaches_target", supply->reaches_target}};
}

void add_channel(Json& json, const ChannelTarget& result, Decibels tolerance) {
  if (!result.channel.name.empty()) json.set("name", result.channel.name);
  json.set("power_w", result.target.power.value());
  json.set("load_ohm", result.channel.load.value());
  json.set("bridged", result.channel.bridged);
  json.set("limited_by", name(result.target.limited_by));
  json.set("target_v", result.target.volts.value());
  json.set("target_v_peak", result.target.peak.value());
  json.set("current_a", result.target.current.value());
  add_assessment(json, result.assessment);
  json.set("tolerance_db", tolerance.value());
  json.set("tone", tone_json(result.overlap));
  json.set("supply", supply_json(result.supply));
}

}  // namespace

Json target_json(std::span<const ChannelTarget> channels, const Conditions& conditions) {
  Json document;
  document.set("schema", schema);
  document.set("meter", conditions.meter ? Json(describe(*conditions.meter)) : Json(nullptr));
  Json taken = Json::array();
  if (conditions.meter) {
    for (const std::string& part : assumptions(*conditions.meter)) taken.push_back(part);
  }
  document.set("meter_assumptions", std::move(taken));
  if (channels.size() == 1) {
    add_channel(document, channels.front(), conditions.tolerance);
    return document;
  }
  Json list = Json::array();
  for (const ChannelTarget& channel : channels) {
    Json json;
    add_channel(json, channel, conditions.tolerance);
    list.push_back(std::move(json));
  }
  document.set("channels", std::move(list));
  return document;
}

// --- words ---------------------------------------------------------------------------------------

const char* in_words(Limit limit) {
  return limit == Limit::head_unit ? "head unit" : name(limit);
}

namespace {

std::string measured(Volts volts) {
  return format_quantity(volts, 4, Zeros::keep);
}
std::string measured(Watts watts) {
  return format_quantity(watts, 3, Zeros::keep);
}
std::string rated(Watts watts) {
  return format_quantity(watts, 3);
}
std::string in_db(Decibels level) {
  return format_fixed(level, 2);
}

std::string reason_for(Limit limit) {
  switch (limit) {
    case Limit::amplifier:
      return "the amplifier's rating";
    case Limit::speaker:
      return "the speaker's limit";
    case Limit::supply:
      return "what the amplifier gives at its supply";
    case Limit::head_unit:
      return "the most that the head unit drives it to";
    case Limit::clipping:
      break;
  }
  return "just below where it was measured to clip";
}

std::string target_lines(const ChannelTarget& result) {
  const Target& target = result.target;
  std::string text = result.channel.name.empty() ? "Set " : visible(result.channel.name) + ": set ";
  text += measured(target.volts) + " AC for " + rated(target.power) + " into " +
          format_quantity(result.channel.load);
  text += ", " + reason_for(target.limited_by) + ".\n";
  text += "  Peak " + measured(target.peak) + ", current " + format_quantity(target.current, 3) +
          " with the load connected.\n";
  if (result.channel.bridged) {
    text += "  Bridged: read between the two bridged terminals. Each half drives " +
            format_quantity(result.each_half_load) + "; check that it may.\n";
  }
  return text;
}

std::string direction_words(const Assessment& assessment, Decibels tolerance) {
  const std::string change = in_db(assessment.distance);
  switch (assessment.direction) {
    case Direction::raise:
      return "Raise by " + change;
    case Direction::lower:
      return "Lower by " + change;
    case Direction::hold:
      break;
  }
  return "Hold: " + change + " off, within the tolerance of " + in_db(tolerance);
}

std::string assessment_lines(const Assessment& assessment, Decibels tolerance) {
  std::string text = "  Reading " + measured(assessment.reading);
  if (assessment.band) text += " ± " + format_fixed(assessment.band->uncertainty, 2);
  text += ": " + measured(assessment.power);
  if (assessment.power_limits) {
    text += " (" + measured(assessment.power_limits->low) + " to " +
            measured(assessment.power_limits->high) + ")";
  }
  text += ". " + direction_words(assessment, tolerance) + ".\n";
  if (!assessment.plausible) {
    text +=
        "  That is far off: check the reading's digits, and that the meter is on an AC volts "
        "range.\n";
  }
  if (!assessment.meter_decides) {
    text += "  The meter alone cannot decide this: with its error the target is ";
    text += format_fixed(*assessment.change_low, 2, Sign::always);
    text += assessment.change_high
                ? " to " + format_fixed(*assessment.change_high, 2, Sign::always) + " away.\n"
                : " or more away.\n";
  }
  return text;
}

std::string overlap_lines(const Overlap& overlap, const Target& target) {
  const std::string level = format_quantity(overlap.tone_level);
  if (overlap.overlap == Decibels(0.0)) {
    return "  With a 0 dBFS tone there is no overlap: full scale just reaches the target.\n";
  }
  std::string text = "  With a tone of " + level + " there are two ways:\n";
  text += "    " + measured(target.volts) + "  overlap: music that peaks at " + level +
          " reaches " + rated(target.power) + "; full scale would need " + in_db(overlap.overlap) +
          " more";
  if (overlap.full_scale_overdrive > Decibels(0.0)) {
    text += ", " + in_db(overlap.full_scale_overdrive) + " over the amplifier's rating: up to " +
            format_quantity(overlap.full_scale_thd, 3) + " distortion";
  }
  text += " and " + rated(overlap.full_scale_power) + " into the load\n";
  text += "    " + measured(overlap.without_overlap) + "  no overlap: full scale just reaches " +
          rated(target.power) + "; music that peaks at " + level + " reaches " +
          rated(overlap.tone_power) + "\n";
  return text;
}

std::string supply_lines(const SupplyEffect& supply, const Conditions& conditions) {
  if (supply.reaches_target) return "";
  return "  At " + format_quantity(supply.supply) +
         " an amplifier without a regulated supply clips " + in_db(-supply.change) +
         " lower than rated, at about " + measured(supply.reachable) + ".\n  At " +
         format_quantity(conditions.rated_supply) + " the target is " + measured(supply.at_rated) +
         ".\n";
}

std::string channel_lines(const ChannelTarget& result, const Conditions& conditions) {
  std::string text = target_lines(result);
  if (result.assessment) text += assessment_lines(*result.assessment, conditions.tolerance);
  if (result.overlap) text += overlap_lines(*result.overlap, result.target);
  if (result.supply) text += supply_lines(*result.supply, conditions);
  return text;
}

std::string joined(const std::vector<std::string>& parts) {
  std::string text;
  for (const std::string& part : parts) text += (text.empty() ? "" : "; ") + part;
  return text;
}

std::string meter_lines(const Conditions& conditions) {
  if (!conditions.meter) return "";
  std::string text = "Meter: " + describe(*conditions.meter) + ".\n";
  if (conditions.meter->highest_frequency && !conditions.tone_frequency) {
    text += "  Play a tone inside its band; 50 to 100 Hz is inside every meter's.\n";
  }
  const auto taken = assumptions(*conditions.meter);
  if (!taken.empty()) {
    text += "  Assumed, as the description does not say it:\n    " + joined(taken) +
            ".\n  The manual has it; for example --meter \"1.2%+5, 0.01V, true-rms, 40-400Hz\".\n";
  }
  if (conditions.meter->type == MeterType::average_responding) {
    text += "  Average-responding: right on a clean sine, too high on a clipped one.\n";
  }
  return text;
}

}  // namespace

std::string target_text(std::span<const ChannelTarget> channels, const Conditions& conditions) {
  std::string text;
  for (const ChannelTarget& channel : channels) text += channel_lines(channel, conditions);
  text += meter_lines(conditions);
  text +=
      "Before: speakers off; or a dummy load that takes the power, and gets hot. Start with the "
      "gain at\n"
      "  minimum. Read between the two speaker terminals, never to the chassis. Without a load the "
      "reading\n"
      "  is a little high. Ratings hold at " +
      format_quantity(conditions.rated_supply) +
      ": engine running outdoors, or a charger connected.\n";
  return text;
}

}  // namespace railtap::report
