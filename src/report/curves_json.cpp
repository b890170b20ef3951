// SPDX-License-Identifier: MIT
// The points of a channel's pictures in JSON.
#include "report/curves_json.hpp"

#include <cstdio>
#include <cstdlib>

namespace railtap::report {
namespace {

using Unit = std::optional<Volts>;  // what a full scale is in volts

Json short_number(double value) {
  if (!std::isfinite(value)) return nullptr;
  char text[32];
  std::snprintf(text, sizeof text, "%.6g", value);
  return std::strtod(text, nullptr);
}

Json list(const std::vector<double>& values, double scale = 1.0) {
  Json out = Json::array();
  for (const double value : values) out.push_back(short_number(scale * value));
  return out;
}

void add_list(Json& to, const std::string& name, const std::vector<double>& values,
              const Unit& unit) {
  to[name + "_full_scale"] = list(values);
  to[name + "_v"] = unit ? list(values, unit->value()) : Json(nullptr);
}

void add_value(Json& to, const std::string& name, const std::optional<double>& value,
               const Unit& unit) {
  to[name + "_full_scale"] = value ? short_number(*value) : Json(nullptr);
  to[name + "_v"] = value && unit ? short_number(*value * unit->value()) : Json(nullptr);
}

Json cycle_json(const judge::CycleCurve& cycle, const Unit& unit) {
  if (cycle.mean.empty()) return nullptr;
  Json json;
  json["phase_deg"] = list(cycle.phase_deg);
  add_list(json, "mean", cycle.mean, unit);
  add_list(json, "low", cycle.low, unit);
  add_list(json, "high", cycle.high, unit);
  add_list(json, "sine", cycle.sine, unit);
  add_value(json, "positive_rail", cycle.positive_rail, unit);
  add_value(json, "negative_rail", cycle.negative_rail, unit);
  return json;
}

Json transfer_json(const judge::TransferCurve& transfer, const Unit& unit) {
  if (transfer.input.empty()) return nullptr;
  Json json;
  json["input_ratio"] = list(transfer.input);
  add_list(json, "rising", transfer.rising, unit);
  add_list(json, "falling", transfer.falling, unit);
  return json;
}

Json spectrum_json(const judge::LevelCurve& spectrum) {
  if (spectrum.frequency_hz.empty()) return nullptr;
  return {{"resolution_hz", short_number(spectrum.resolution.value())},
          {"frequency_hz", list(spectrum.frequency_hz)},
          {"level_dbfs", list(spectrum.level_dbfs)}};
}

}  // namespace

Json curves_json(const judge::Curves& curves, const std::optional<Volts>& volts_per_full_scale) {
  return {{"cycle", cycle_json(curves.cycle, volts_per_full_scale)},
          {"transfer", transfer_json(curves.transfer, volts_per_full_scale)},
          {"spectrum", spectrum_json(curves.spectrum)}};
}

}  // namespace railtap::report
