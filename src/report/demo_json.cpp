// SPDX-License-Identifier: MIT
// The demo's outcome as a JSON document.
#include "report/demo.hpp"
#include "report/json_values.hpp"
#include "system/json_text.hpp"

namespace railtap::report {
namespace {

const char* name(DemoLimit limit) {
  switch (limit) {
    case DemoLimit::amplifier:
      return "amplifier";
    case DemoLimit::speaker:
      return "speaker";
    case DemoLimit::clipping:
      return "clipping";
  }
  return "amplifier";
}

const char* name(electric::Direction direction) {
  switch (direction) {
    case electric::Direction::raise:
      return "raise";
    case electric::Direction::lower:
      return "lower";
    case electric::Direction::hold:
      return "hold";
  }
  return "hold";
}

Json json_of(const DemoCalibration& calibration) {
  return {{"tone_hz", json_number(calibration.tone.value())},
          {"volume_step", calibration.step},
          {"reading_v", json_number(calibration.reading.value())},
          {"volts_per_full_scale", json_number(calibration.found.volts_per_full_scale.value())},
          {"uncertainty_percent", json_number(calibration.found.uncertainty)},
          {"nominal_volts_per_full_scale", json_number(calibration.nominal.nominal.value())},
          {"deviation_db", json_number(calibration.nominal.deviation.value())}};
}

Json json_of(const DemoHeadUnit& unit) {
  return {{"volume_steps", unit.steps},
          {"highest_clean_step", unit.highest_clean_step},
          {"level_v", json_number(unit.clean_level.value())},
          {"next_step_overdrive_db", json_number(unit.next_overdrive)},
          {"onset_v", json_number(unit.onset)}};
}

Json json_of(const DemoChannel& channel) {
  constexpr double percent = 100.0;
  return {{"control", channel.control},
          {"input", channel.input},
          {"tone_hz", json_number(channel.tone.value())},
          {"found_verdict", judge::name(channel.found.verdict)},
          {"found_v", json_number(channel.found.level_v)},
          {"onset_v", json_number(channel.onset)},
          {"target_v", json_number(channel.target.value())},
          {"limited_by", name(channel.limited_by)},
          {"reached_v", json_number(channel.reached_v.value())},
          {"change_db", json_number(channel.change.value())},
          {"direction", name(channel.direction)},
          {"verdict", judge::name(channel.reached.verdict)},
          {"clipped_before_amplifier", channel.clipped_before_amplifier},
          {"held", channel.held},
          {"reasons", channel.reached.reasons},
          {"thdn_percent", json_number(channel.reached.thdn)},
          {"travel_percent", json_number(percent * channel.travel)},
          {"meter_v", json_number(channel.meter)},
          {"hiss_a_v", json_number(channel.hiss_a)}};
}

}  // namespace

std::string demo_json(const DemoDocument& document) {
  Json channels = Json::array();
  for (const DemoChannel& channel : document.channels) channels.push_back(json_of(channel));
  Json verifications = Json::array();
  for (const DemoVerification& v : document.verifications) {
    verifications.push_back({{"control", v.control},
                             {"found", v.found},
                             {"corrected", v.corrected},
                             {"left", v.left},
                             {"carries", v.carries}});
  }
  const Json json = {{"schema", "railtap.demo/1"},
                     {"folder", document.folder},
                     {"system", document.system},
                     {"supply_v", json_number(document.supply.value())},
                     {"tone_dbfs", json_number(document.tone_level.value())},
                     {"tolerance_db", json_number(document.tolerance.value())},
                     {"calibration", json_of(document.calibration)},
                     {"head_unit", json_of(document.head_unit)},
                     {"verifications", verifications},
                     {"channels", channels},
                     {"within_limits", document.within_limits}};
  return system::json_line(json);
}

}  // namespace railtap::report
