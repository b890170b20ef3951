// SPDX-License-Identifier: MIT
// What a recording was made with and whether it is whole: its sidecar, and the words for it; and
// the list of inputs.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "audio/device.hpp"
#include "audio/intake.hpp"
#include "system/json.hpp"
#include "units/quantity.hpp"

namespace railtap::report {

/// Why a recording ended. In order: it has not yet; it has its length; the person stopped it; the
/// input vanished or fell silent; the disk is full; a WAV file can grow no more.
enum class CaptureEnd { running, duration, interrupt, device_vanished, disk_full, size_limit };

/// One channel's extremes.
struct CaptureChannel {
  std::optional<Dbfs> peak;                ///< 0 dBFS at digital full scale; none for all zeros
  std::int64_t samples_at_full_scale = 0;  ///< within a 16-bit code of it
  std::int64_t longest_run = 0;            ///< of these in a row
};

/// Everything about a recording. \see docs/formats.md, railtap.capture/1
struct CaptureDocument {
  std::string file;
  std::string started;  ///< ISO 8601, local time with its offset
  CaptureEnd end = CaptureEnd::running;
  std::string device, host;
  Hertz rate{0.0};
  int bits = 0;                  ///< in the file
  std::optional<int> bits_used;  ///< that were ever set in the codes that the driver delivered
  Seconds latency{0.0};          ///< that the driver states
  Seconds worst_backlog{0.0};    ///< the longest stretch of samples that ever waited to be written
  std::int64_t frames = 0;       ///< in the file
  std::vector<CaptureChannel> channels;
  std::int64_t driver_overflows = 0;
  std::int64_t lost_frames = 0;  ///< where known
  std::vector<audio::Gap> gaps;
};

/// Whether any channel is, by judge::is_clipped_run.
[[nodiscard]] bool clipped(const CaptureDocument& document);

/// The word for the end, as in JSON: "device-vanished"; for `running` null is written instead.
[[nodiscard]] const char* name(CaptureEnd end);

/// The sidecar, railtap.capture/1, where what is not known is null; and a few lines for the person
/// once the recording has ended.
[[nodiscard]] system::Json capture_json(const CaptureDocument& document);
[[nodiscard]] std::string capture_text(const CaptureDocument& document);

/// The inputs as railtap.devices/1, and as a table, which says so where there are none.
[[nodiscard]] system::Json devices_json(const std::vector<audio::InputDevice>& inputs);
[[nodiscard]] std::string devices_text(const std::vector<audio::InputDevice>& inputs);

}  // namespace railtap::report
