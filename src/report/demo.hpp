// SPDX-License-Identifier: MIT
// The outcome of setting a whole system, as a table for a person and as a JSON document.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "electric/calibration.hpp"
#include "electric/target.hpp"
#include "judge/analysis.hpp"
#include "system/json.hpp"
#include "units/quantity.hpp"

namespace railtap::report {

/// How volts were tied to the recording.
struct DemoCalibration {
  Hertz tone{0.0};
  int step = 0;        ///< volume
  Volts reading{0.0};  ///< the meter's
  electric::Calibration found;
  electric::NominalComparison nominal;
};

/// The head unit's limit.
struct DemoHeadUnit {
  int steps = 0;  ///< of its volume control
  int highest_clean_step = 0;
  Volts clean_level{0.0};  ///< RMS at that step
  std::optional<Decibels>
      next_overdrive;          ///< over the rail at the next step up, where there is one
  std::optional<Volts> onset;  ///< RMS where clipping begins
};

/// What limits a channel's voltage.
using DemoLimit = electric::Limit;

/// One amplifier channel.
struct DemoChannel {
  std::string control, input;  ///< "front", "front left"
  Hertz tone{0.0};
  judge::Findings found;       ///< before anything was turned
  std::optional<Volts> onset;  ///< RMS where its amplifier begins to clip
  Volts target{0.0};           ///< RMS
  Volts wanted{0.0};           ///< what amplifier and speaker are rated for
  DemoLimit limited_by = DemoLimit::amplifier;
  judge::Findings reached;  ///< at the end
  Volts reached_v{0.0};     ///< RMS
  Decibels change{0.0};     ///< still to go: above zero, raise
  electric::Direction direction = electric::Direction::hold;
  bool clipped_before_amplifier = false;  ///< its tops are flat, but not from its own rails
  bool held = false;                      ///< turning it up changed nothing
  double travel = 0.0;                    ///< the control's position, 0 … 1
  std::optional<Volts> meter;  ///< its reading at the end, where the tone lies in its band
  std::optional<Volts>
      hiss_a;  ///< A-weighted RMS with nothing playing, the recording's own noise in it
  /// It carries another side than it should, is silent or inverted, and could not be put right.
  bool wiring = false;
  std::vector<std::string>
      faults;  ///< that its verification still found at the end, a sentence each
};

/// One word for a channel: the tone's verdict where that is not clean, else "wiring" or
/// "look-again" where its verification still has faults, else "clean".
[[nodiscard]] std::string verdict_of(const DemoChannel& channel);

/// "front: high-pass on …", for a terminal; a sentence that begins with the control's name needs
/// none in front.
[[nodiscard]] std::string about(const std::string& control, const std::string& sentence);

/// A control's wiring and filters.
struct DemoVerification {
  std::string control;
  std::vector<std::string> found, corrected, left;  ///< faults, what was done, faults after that
  std::vector<std::string> carries;  ///< each channel at the end: "left", "right", "both" …
};

/// All that the demo found and did.
struct DemoDocument {
  std::string folder, system;  ///< where the files are, and what was set
  Volts supply{0.0};           ///< as read at the amplifiers
  Dbfs tone_level{0.0};        ///< of the tones that gains were set with
  Decibels tolerance{0.0};     ///< of a level
  DemoCalibration calibration;
  DemoHeadUnit head_unit;
  std::vector<DemoVerification> verifications;
  std::vector<DemoChannel> channels;
  /// The calibration is plausible, no fault of wiring is left, and every channel is clean and at
  /// its target.
  bool within_limits = false;
};

/// What was found, the setup table, and cautions in short.
/// \param program how the program was called, for a command to try
[[nodiscard]] std::string demo_text(const DemoDocument& document, const std::string& program);

/// The document "railtap.demo/1".
[[nodiscard]] system::Json demo_json(const DemoDocument& document);

}  // namespace railtap::report
