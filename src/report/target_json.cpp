// SPDX-License-Identifier: MIT
// The target voltage as a document for programs: schema railtap.target/1.
#include "report/target_json.hpp"
#include "system/json_text.hpp"

#include <nlohmann/json.hpp>

namespace railtap::report {
namespace {

using namespace electric;
using Json = nlohmann::ordered_json;

constexpr const char* schema = "railtap.target/1";

template <class Q>
Json number_or_null(const std::optional<Q>& quantity) {
  return quantity ? Json(quantity->value()) : Json(nullptr);
}

const char* word(Limit limit) {
  return limit == Limit::speaker ? "speaker" : "amplifier";
}

const char* word(Direction direction) {
  switch (direction) {
    case Direction::raise:
      return "raise";
    case Direction::lower:
      return "lower";
    case Direction::hold:
      break;
  }
  return "hold";
}

void add_assessment(Json& json, const std::optional<Assessment>& assessment) {
  for (const auto* key : {"reading_v", "reading_uncertainty_v", "reading_power_w",
                          "reading_power_low_w", "reading_power_high_w", "change_db",
                          "change_low_db", "change_high_db", "direction", "meter_decides"}) {
    json[key] = nullptr;
  }
  if (!assessment) return;
  json["reading_v"] = assessment->reading.value();
  json["reading_power_w"] = assessment->power.value();
  json["change_db"] = assessment->change.value();
  json["direction"] = word(assessment->direction);
  if (!assessment->band) return;
  json["reading_uncertainty_v"] = assessment->band->uncertainty.value();
  json["reading_power_low_w"] = assessment->power_limits->low.value();
  json["reading_power_high_w"] = assessment->power_limits->high.value();
  json["change_low_db"] = number_or_null(assessment->change_low);
  json["change_high_db"] = number_or_null(assessment->change_high);
  json["meter_decides"] = assessment->meter_decides;
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
          {"reaches_target", supply->reaches_target}};
}

void add_channel(Json& json, const ChannelTarget& result, Decibels tolerance) {
  if (!result.channel.name.empty()) json["name"] = result.channel.name;
  json["power_w"] = result.target.power.value();
  json["load_ohm"] = result.channel.load.value();
  json["bridged"] = result.channel.bridged;
  json["limited_by"] = word(result.target.limited_by);
  json["target_v"] = result.target.volts.value();
  json["target_v_peak"] = result.target.peak.value();
  json["current_a"] = result.target.current.value();
  add_assessment(json, result.assessment);
  json["tolerance_db"] = tolerance.value();
  json["tone"] = tone_json(result.overlap);
  json["supply"] = supply_json(result.supply);
}

}  // namespace

std::string target_json(std::span<const ChannelTarget> channels, const Conditions& conditions) {
  Json document;
  document["schema"] = schema;
  if (channels.size() == 1) {
    add_channel(document, channels.front(), conditions.tolerance);
  } else {
    document["channels"] = Json::array();
    for (const ChannelTarget& channel : channels) {
      add_channel(document["channels"].emplace_back(Json::object()), channel, conditions.tolerance);
    }
  }
  return system::json_page(document);
}

}  // namespace railtap::report
