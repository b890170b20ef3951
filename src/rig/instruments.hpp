// SPDX-License-Identifier: MIT
// What reads the virtual rig at its terminals: tap and sound card, and a multimeter.
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

/// Plays a track and reads the meter, at the first channel of the point, over one second that
/// ends shortly before the track does.
///
/// An average-responding meter shows 1.1107 times the mean rectified voltage, a true-RMS meter the
/// RMS. Above its band it rolls off with one pole that takes 0.5 % at the band's upper edge (from
/// memory: typical of meters with a stated band); at its lower edge likewise. The specimen's error
/// is added and the result rounded to its resolution. \throws Error for a track under 2 s, a manual
/// without a resolution, and as Terminals does
[[nodiscard]] Volts read_meter(const Rig& rig, const Play& play, audio::Source track);

}  // namespace railtap::rig
