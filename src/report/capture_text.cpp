// SPDX-License-Identifier: MIT
// What is said of a recording once it has ended, and the list of inputs.
#include <algorithm>
#include <cstdio>

#include "report/capture.hpp"
#include "units/print.hpp"

namespace railtap::report {
namespace {

constexpr std::int64_t clipped_run = 3;  // samples in a row (common practice)

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
  if (channel.longest_run >= clipped_run) {
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
                     [](const CaptureChannel& c) { return c.longest_run >= clipped_run; });
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
