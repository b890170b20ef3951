// SPDX-License-Identifier: MIT
// What a recording was made with and whether it is whole, and the list of inputs.
#include "report/capture.hpp"

#include <algorithm>
#include <cstdio>

#include "judge/attenuation.hpp"
#include "system/json.hpp"
#include "units/print.hpp"

namespace railtap::report {
namespace {

using system::Json;
using system::json_number;

}  // namespace

// --- document ------------------------------------------------------------------------------------

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
  json.set("at_frame", gap.at_frame);
  json.set("at_s", json_number(static_cast<double>(gap.at_frame) / rate.value()));
  json.set("lost_frames", gap.lost ? Json(*gap.lost) : Json(nullptr));
  json.set("cause", name_of(gap.cause));
  return json;
}

Json json_of(const CaptureChannel& channel, int number) {
  Json json;
  json.set("channel", number);
  json.set("peak_dbfs", json_number(channel.peak));
  json.set("samples_at_full_scale", channel.samples_at_full_scale);
  json.set("longest_run", channel.longest_run);
  return json;
}

Json json_of(const audio::InputDevice& device) {
  Json json;
  json.set("number", device.number);
  json.set("name", device.name);
  json.set("host", device.host);
  json.set("default", device.is_default);
  json.set("channels", device.channels);
  json.set("preferred_rate_hz", json_number(device.preferred.value()));
  Json rates = Json::array();
  for (const Hertz rate : device.rates) rates.push_back(rate.value());
  json.set("rates_hz", std::move(rates));
  return json;
}

}  // namespace

Json capture_json(const CaptureDocument& document) {
  const double rate = document.rate.value();
  Json json;
  json.set("schema", "railtap.capture/1");
  json.set("file", document.file);
  json.set("complete", document.end != CaptureEnd::running);
  json.set("ended_by",
           document.end == CaptureEnd::running ? Json(nullptr) : Json(name(document.end)));
  json.set("started", document.started);
  json.set("device", {{"name", document.device}, {"host", document.host}});
  json.set("sample_rate_hz", json_number(rate));
  json.set("bits", document.bits);
  json.set("bits_used", document.bits_used ? Json(*document.bits_used) : Json(nullptr));
  json.set("latency_s", json_number(document.latency.value()));
  json.set("worst_backlog_s", json_number(document.worst_backlog.value()));
  json.set("frames", document.frames);
  json.set("duration_s", json_number(static_cast<double>(document.frames) / rate));
  Json channels = Json::array();
  int number = 0;
  for (const auto& channel : document.channels) channels.push_back(json_of(channel, ++number));
  json.set("channels", std::move(channels));
  json.set("lost_frames", document.lost_frames);
  json.set("lost_s", json_number(static_cast<double>(document.lost_frames) / rate));
  json.set("driver_overflows", document.driver_overflows);
  Json gaps = Json::array();
  for (const auto& gap : document.gaps) gaps.push_back(json_of(gap, document.rate));
  json.set("gaps", std::move(gaps));
  return json;
}

Json devices_json(const std::vector<audio::InputDevice>& inputs) {
  Json json;
  json.set("schema", "railtap.devices/1");
  Json list = Json::array();
  for (const auto& device : inputs) list.push_back(json_of(device));
  json.set("inputs", std::move(list));
  return json;
}

// --- words ---------------------------------------------------------------------------------------

namespace {

Seconds duration(std::int64_t frames, Hertz rate) {
  return Seconds(static_cast<double>(frames) / rate.value());
}

std::string gap_text(const audio::Gap& gap, Hertz rate) {
  std::string text = "  at " + format_fixed(duration(gap.at_frame, rate), 2) + ": ";
  if (!gap.lost) {
    text += "a loss too short for the clock to tell";
  } else {
    const bool exact = gap.cause == audio::LossCause::buffer;
    text += (exact ? "" : "about ") + std::to_string(*gap.lost) + " frames (" +
            format_quantity(duration(*gap.lost, rate), 3) + ")";
  }
  switch (gap.cause) {
    case audio::LossCause::buffer:
      return text + ", written too slowly\n";
    case audio::LossCause::driver:
      return text + ", reported by the driver\n";
    case audio::LossCause::clock:
      return text + ", found by the clock\n";
  }
  return text;
}

std::string channel_text(const CaptureChannel& channel, int number) {
  std::string text = "  channel " + std::to_string(number) + ": ";
  text += channel.peak ? "peak " + format_fixed(*channel.peak, 2) : "all zeros: nothing connected?";
  if (judge::is_clipped_run(channel.longest_run)) {
    text += ", CLIPPED: " + std::to_string(channel.samples_at_full_scale) +
            " samples at full scale, up to " + std::to_string(channel.longest_run) + " in a row";
  }
  return text + "\n";
}

std::string padded(std::string text, std::size_t width) {
  if (text.size() < width) text.append(width - text.size(), ' ');
  return text;
}

std::string rates_text(const std::vector<Hertz>& rates) {
  std::string text;
  for (const Hertz rate : rates) {
    char number[32];
    std::snprintf(number, sizeof number, "%g", rate.value() / 1000.0);
    text += (text.empty() ? "" : " ") + std::string(number);
  }
  return text.empty() ? "unknown" : text + " kHz";
}

}  // namespace

bool clipped(const CaptureDocument& document) {
  return std::any_of(document.channels.begin(), document.channels.end(),
                     [](const CaptureChannel& c) { return judge::is_clipped_run(c.longest_run); });
}

const char* name(CaptureEnd end) {
  switch (end) {
    case CaptureEnd::running:
      return "running";
    case CaptureEnd::duration:
      return "duration";
    case CaptureEnd::interrupt:
      return "interrupt";
    case CaptureEnd::device_vanished:
      return "device-vanished";
    case CaptureEnd::disk_full:
      return "disk-full";
    case CaptureEnd::size_limit:
      return "size-limit";
  }
  return "running";
}

std::string capture_text(const CaptureDocument& document) {
  std::string text = document.file + ": " +
                     format_fixed(duration(document.frames, document.rate), 2) + " from '" +
                     document.device + "', " + format_quantity(document.rate, 6) + ", " +
                     std::to_string(document.bits) + " bits\n";
  int number = 0;
  for (const auto& channel : document.channels) text += channel_text(channel, ++number);
  if (document.bits_used && *document.bits_used < document.bits) {
    text += "  the input delivers " + std::to_string(*document.bits_used) + " bits\n";
  }
  if (document.gaps.empty()) return text + "  no sample lost\n";
  text += "  SAMPLES LOST in " + std::to_string(document.gaps.size()) +
          (document.gaps.size() == 1 ? " place:\n" : " places:\n");
  for (const auto& gap : document.gaps) text += "  " + gap_text(gap, document.rate);
  return text;
}

std::string devices_text(const std::vector<audio::InputDevice>& inputs) {
  if (inputs.empty()) {
    return "There is no audio input. Connect the sound interface and see whether the system's own\n"
           "settings list it.\n";
  }
  std::size_t width = 4;
  for (const auto& device : inputs) width = std::max(width, device.name.size());
  std::string text = "   no.  " + padded("name", width) + "  channels  rates\n";
  for (const auto& device : inputs) {
    char number[16];
    std::snprintf(number, sizeof number, "%c %4d  ", device.is_default ? '*' : ' ', device.number);
    char channels[16];
    std::snprintf(channels, sizeof channels, "  %8d  ", device.channels);
    text += number + padded(device.name, width) + channels + rates_text(device.rates) + " (" +
            device.host + ")\n";
  }
  return text + "* is taken where no --device is given.\n";
}

}  // namespace railtap::report
