// SPDX-License-Identifier: MIT
// Tap and sound card: from volts at the terminals to a recording.
#pragma once

#include "audio/stream.hpp"
#include "rig/description.hpp"
#include "rig/terminals.hpp"

namespace railtap::rig {

/// Plays a track through the rig and records it at the tapped point.
/// \returns the recording, a channel per channel of the point, aligned with the track to within a
///          sample (plus `play.before`); constant memory however long the track is
/// \throws Error where the tap would ground one side of a bridge-tied output, and as Terminals does
[[nodiscard]] audio::Source record(const Rig& rig, const Play& play, audio::Source track);

}  // namespace railtap::rig
