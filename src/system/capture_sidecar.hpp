// SPDX-License-Identifier: MIT
// The sidecar that `capture` leaves beside a recording, read back: what it says of the recording.
#pragma once

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::system {

/// A place where samples are missing.
struct CaptureGap {
  Seconds at{0.0};
  std::optional<std::int64_t> lost_frames;  ///< none where the clock could not tell
};

/// What of the document "railtap.capture/1" matters to whoever measures the recording.
struct CaptureRecord {
  bool complete = false;
  std::string ended_by;  ///< empty where it was broken off
  std::string device;
  std::optional<std::chrono::sys_days> day;  ///< on which it began, by the clock there
  Hertz rate{0.0};
  std::int64_t frames = 0;
  std::int64_t lost_frames = 0;       ///< where known
  std::int64_t driver_overflows = 0;  ///< that the driver reported
  std::vector<CaptureGap> gaps;
};

/// What was found beside a recording.
struct Sidecar {
  std::optional<CaptureRecord> record;  ///< none where there is no sidecar
  std::vector<std::string> damage;      ///< why one that is there could not be read
};

/// \param place the sidecar's name, for errors
/// \throws Error for what is no such document, is damaged, or is a newer version of it
[[nodiscard]] CaptureRecord parse_capture_sidecar(std::string_view text, const std::string& place);

/// Reads FILE.json beside a recording. What is no JSON, and JSON of another kind, is told or passed
/// over: the recording itself can still be measured. \throws Error for a newer version of it
[[nodiscard]] Sidecar read_capture_sidecar(const std::filesystem::path& recording);

/// What the person should know before trusting the recording, a sentence each.
/// \param rate, \param frames of the recording as it is now
[[nodiscard]] std::vector<std::string> capture_warnings(const CaptureRecord& record, Hertz rate,
                                                        std::int64_t frames);

/// A sentence where the recording's day is still to come, whatever the time zones: a clock was
/// wrong. Empty otherwise.
[[nodiscard]] std::string future_warning(const CaptureRecord& record, std::chrono::sys_days today);

}  // namespace railtap::system
