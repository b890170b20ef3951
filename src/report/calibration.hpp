// SPDX-License-Identifier: MIT
// A calibration in words and as a document, and a sound interface's own figures for a person.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "electric/calibration.hpp"
#include "judge/calibration_tone.hpp"
#include "system/json.hpp"

namespace railtap::report {

// A calibration in words and as a document.

/// What is reported of one calibration.
struct CalibrationDocument {
  judge::CalibrationCapture capture;
  Volts reading;
  Volts full_scale_rms;  ///< of a sine that fills the input
  std::optional<electric::Meter> meter;
  electric::Calibration found;
  std::optional<electric::NominalComparison> nominal;
  std::optional<Hertz> coupling_corner;  ///< that was corrected for
  std::vector<std::string> warnings;     ///< against trusting the recording
};

/// Volts first.
[[nodiscard]] std::string calibration_report(const CalibrationDocument& document);

/// The document "railtap.calibration/1" as JSON; what is not known is null.
[[nodiscard]] system::Json calibration_json(const CalibrationDocument& document);

// A sound interface's own figures, for a person.

/// What was found, and what follows from it.
[[nodiscard]] std::string loopback_report(const electric::SoundInterface& interface);

}  // namespace railtap::report
