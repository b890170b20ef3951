// SPDX-License-Identifier: MIT
// The tap as a document for programs: schema railtap.attenuator/1.
#include "report/attenuator_json.hpp"

#include <nlohmann/json.hpp>

#include "report/attenuator_text.hpp"
#include "system/json_text.hpp"

namespace railtap::report {
namespace {

using namespace electric;
using Json = nlohmann::ordered_json;

template <class Q>
Json number_or_null(const std::optional<Q>& quantity) {
  return quantity ? Json(quantity->value()) : Json(nullptr);
}

}  // namespace

std::string attenuator_json(const TapNeed& need, const Tap& tap) {
  Json document;
  document["schema"] = "railtap.attenuator/1";
  document["bridge_tied"] = need.bridge_tied;
  document["series_each_ohm"] = tap.parts.series_each.value();
  document["shunt_ohm"] = tap.parts.shunt.value();
  document["leg_capacitor_f"] = number_or_null(tap.parts.leg_capacitor);
  document["output_capacitor_f"] = number_or_null(tap.parts.output_capacitor);
  document["input_resistance_ohm"] = number_or_null(need.input_resistance);
  document["gain_db"] = tap.gain.value();
  document["gain_unloaded_db"] = tap.gain_unloaded.value();
  document["gain_lowest_db"] = tap.gain_lowest.value();
  document["gain_highest_db"] = tap.gain_highest.value();
  document["full_scale_v"] = tap.full_scale.value();
  document["volts_per_full_scale"] = tap.full_scale_peak.value();
  document["headroom_db"] = tap.headroom.value();
  document["source_resistance_ohm"] = tap.source_resistance.value();
  document["terminal_resistance_ohm"] = tap.terminal_resistance.value();
  document["series_power_w"] = tap.series_power.value();
  document["shunt_power_w"] = tap.shunt_power.value();
  document["resistor_rating_w"] = need.resistor_rating.value();
  document["leg_corner_hz"] = number_or_null(tap.leg_corner);
  document["output_corner_hz"] = number_or_null(tap.output_corner);
  document["loss_at_20_hz_db"] = tap.loss_at_20_hz.value();
  document["noise_at_input_v"] = tap.noise_at_input.value();
  document["noise_at_terminals_v"] = tap.noise_at_terminals.value();
  document["grounded_leg_change_db"] = number_or_null(tap.grounded_leg_change);
  document["faults"] = Json::array();
  for (const TapFault fault : tap.faults) document["faults"].push_back(fault_text(fault));
  return system::json_page(document);
}

}  // namespace railtap::report
