// SPDX-License-Identifier: MIT
// A calibration as a file that lasts: TOML with the schema railtap.calibration/1.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "files/atomic_file.hpp"
#include "units/quantity.hpp"

namespace railtap::system {

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

}  // namespace railtap::system
