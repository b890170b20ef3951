// SPDX-License-Identifier: MIT
// Where a recording comes from, and what that says about trusting it: its sidecar and calibration.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "audio/stream.hpp"
#include "electric/calibration.hpp"
#include "system/calibration_file.hpp"
#include "system/capture_sidecar.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

/// What is known of a recording besides its samples.
struct Provenance {
  std::optional<system::CaptureRecord> sidecar;  ///< none where none can be read
  std::vector<std::string> warnings;             ///< a sentence each
};

/// Reads the sidecar of a recording that was read to its end, and gathers the source's own notes.
/// \throws Error for a sidecar of a newer version
[[nodiscard]] Provenance provenance_of(const std::filesystem::path& path,
                                       const audio::Source& source, std::int64_t frames);

/// What speaks against using a calibration for such a recording.
/// \param device of the input, where it is known
[[nodiscard]] std::vector<std::string> calibration_warnings(
    const system::CalibrationRecord& calibration, const std::string& file, Hertz rate,
    const std::optional<std::string>& device);

/// The same, with the device that the sidecar names, added to what is known of a recording.
void add_calibration_warnings(Provenance& provenance, const system::CalibrationRecord& calibration,
                              const std::string& file, Hertz rate);

/// What speaks against holding a recording against an interface's own figures.
void add_interface_warnings(Provenance& provenance, const electric::SoundInterface& interface,
                            const std::string& file, Hertz rate);

/// Tells warnings on standard error, a line each.
void tell(const std::vector<std::string>& warnings);

}  // namespace railtap::command
