// SPDX-License-Identifier: MIT
// A recording's sidecar and the list of inputs, as JSON.
#include "report/capture.hpp"
#include "report/json_values.hpp"
#include "system/json_text.hpp"

namespace railtap::report {
namespace {

const char* name_of(audio::LossCause cause) {
  switch (cause) {
    case audio::LossCause::buffer:
      return "buffer";
    case audio::LossCause::driver:
      return "driver";
    case audio::LossCause::clock:
      return "clock";
  }
  return "clock";
}

Json json_of(const audio::Gap& gap, Hertz rate) {
  Json json;
  json["at_frame"] = gap.at_frame;
  json["at_s"] = json_number(static_cast<double>(gap.at_frame) / rate.value());
  json["lost_frames"] = gap.lost ? Json(*gap.lost) : Json(nullptr);
  json["cause"] = name_of(gap.cause);
  return json;
}

Json json_of(const CaptureChannel& channel, int number) {
  Json json;
  json["channel"] = number;
  json["peak_dbfs"] = json_number(channel.peak);
  json["samples_at_full_scale"] = channel.samples_at_full_scale;
  json["longest_run"] = channel.longest_run;
  return json;
}

Json json_of(const audio::InputDevice& device) {
  Json json;
  json["number"] = device.number;
  json["name"] = device.name;
  json["host"] = device.host;
  json["default"] = device.is_default;
  json["channels"] = device.channels;
  json["preferred_rate_hz"] = json_number(device.preferred.value());
  json["rates_hz"] = Json::array();
  for (const Hertz rate : device.rates) json["rates_hz"].push_back(json_number(rate.value()));
  return json;
}

std::string printed(const Json& json) {
  return system::json_page(json);
}

}  // namespace

std::string capture_json(const CaptureDocument& document) {
  const double rate = document.rate.value();
  Json json;
  json["schema"] = "railtap.capture/1";
  json["file"] = document.file;
  json["complete"] = document.end != CaptureEnd::running;
  json["ended_by"] = document.end == CaptureEnd::running ? Json(nullptr) : Json(name(document.end));
  json["started"] = document.started;
  json["device"] = {{"name", document.device}, {"host", document.host}};
  json["sample_rate_hz"] = json_number(rate);
  json["bits"] = document.bits;
  json["bits_used"] = document.bits_used ? Json(*document.bits_used) : Json(nullptr);
  json["latency_s"] = json_number(document.latency.value());
  json["worst_backlog_s"] = json_number(document.worst_backlog.value());
  json["frames"] = document.frames;
  json["duration_s"] = json_number(static_cast<double>(document.frames) / rate);
  json["channels"] = Json::array();
  int number = 0;
  for (const auto& channel : document.channels)
    json["channels"].push_back(json_of(channel, ++number));
  json["lost_frames"] = document.lost_frames;
  json["lost_s"] = json_number(static_cast<double>(document.lost_frames) / rate);
  json["driver_overflows"] = document.driver_overflows;
  json["gaps"] = Json::array();
  for (const auto& gap : document.gaps) json["gaps"].push_back(json_of(gap, document.rate));
  return printed(json);
}

std::string devices_json(const std::vector<audio::InputDevice>& inputs) {
  Json json;
  json["schema"] = "railtap.devices/1";
  json["inputs"] = Json::array();
  for (const auto& device : inputs) json["inputs"].push_back(json_of(device));
  return printed(json);
}

}  // namespace railtap::report
