// SPDX-License-Identifier: MIT
// The tones that the demo plays.
#pragma once

#include <filesystem>
#include <vector>

#include "command/demo_bench.hpp"
#include "command/demo_folder.hpp"
#include "command/demo_verify.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

/// No overlap: full scale is what reaches the target.
inline constexpr Dbfs demo_level{0.0};

/// The volume control is turned a step further this often.
inline constexpr Seconds volume_dwell{0.7};

/// The level ladder: its top is the set-up tone's level.
inline constexpr Decibels ladder_range{9.0};
inline constexpr Decibels ladder_step{1.0};
inline constexpr Seconds ladder_dwell{0.6};

/// The tracks for one gain control.
struct ControlTones {
  std::filesystem::path turn;  ///< while turning
  std::filesystem::path set;   ///< for the last look
  std::filesystem::path ladder;
};

/// Files of all tracks. A file is one track in stereo.
struct DemoTones {
  Hertz calibration_tone{0.0};                         ///< 1 kHz where the meter reads it
  std::filesystem::path calibration, volume, silence;  ///< volume: 1 kHz while it is turned up
  VerifyTracks verify;
  std::vector<ControlTones> controls;  ///< as Bench::controls
};

/// The lowest volume step that is tried for the head unit's limit: three fifths of the way up.
[[nodiscard]] int first_volume(const Bench& bench);

/// Writes all of them into the folder.
[[nodiscard]] DemoTones write_tones(const Bench& bench, const DemoFolder& folder);

}  // namespace railtap::command
