// SPDX-License-Identifier: MIT
// Files that last beside recordings: a calibration (TOML, railtap.calibration/1), the sidecar that
// `capture` leaves, a sound interface's own figures (JSON, railtap.loopback/1).
#pragma once

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "electric/calibration.hpp"
#include "files/atomic_file.hpp"
#include "system/json.hpp"
#include "units/quantity.hpp"

namespace railtap::system {

// A calibration as a file that lasts: TOML with the schema railtap.calibration/1.

/// How the calibration was made, for whoever reads the file later. All of it may be missing.
struct CalibrationOrigin {
  std::optional<std::string> date;       ///< ISO 8601
  std::optional<std::string> recording;  ///< the file's name
  std::optional<std::string> device;     ///< the input, in the person's words
  std::optional<int> channel;            ///< from 1
  std::optional<Hertz> sample_rate;
  std::optional<Hertz> tone;
  std::optional<Dbfs> level;
  std::optional<Volts> reading;
  std::optional<std::string> meter;    ///< as parse_meter reads it
  std::optional<std::string> divider;  ///< in the person's words
  std::optional<Volts> nominal;        ///< peak volts at digital full scale by calculation
};

/// What other commands need, and its origin.
struct CalibrationRecord {
  Volts volts_per_full_scale{0.0};  ///< peak volts between the terminals at digital full scale, > 0
  std::optional<Percent> uncertainty;  ///< limits of error, ±
  CalibrationOrigin origin;
};

/// The file's text, with comments.
[[nodiscard]] std::string calibration_text(const CalibrationRecord& record);

/// \param place the file's name, for errors
/// \throws Error for text that is no TOML, has no schema, another one, or a newer version of it;
/// and for
///         values that are missing, of the wrong kind or out of range
[[nodiscard]] CalibrationRecord parse_calibration(std::string_view text, const std::string& place);

/// Reads a calibration file. \throws Error as parse_calibration does, and where it cannot be read
[[nodiscard]] CalibrationRecord read_calibration(const std::filesystem::path& path);

/// Writes a calibration file, whole or not at all. \throws Error where it exists and may not be
/// replaced
void write_calibration(const std::filesystem::path& path, const CalibrationRecord& record,
                       files::Overwrite overwrite);

// The sidecar that `capture` leaves beside a recording, read back: what it says of the recording.

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

// A sound interface's own figures as a file that lasts: JSON with the schema railtap.loopback/1.

/// The document; what is not known is null.
[[nodiscard]] Json loopback_json(const electric::SoundInterface& interface);

/// \param place the file's name, for errors
/// \throws Error for text that is no such document, is damaged, or is a newer version of it
[[nodiscard]] electric::SoundInterface parse_loopback(std::string_view text,
                                                      const std::string& place);

/// Reads such a file. \throws Error as parse_loopback does, and where it cannot be read
[[nodiscard]] electric::SoundInterface read_loopback(const std::filesystem::path& path);

/// Writes it, whole or not at all. \throws Error where it exists and may not be replaced
void write_loopback(const std::filesystem::path& path, const electric::SoundInterface& interface,
                    files::Overwrite overwrite);

}  // namespace railtap::system
