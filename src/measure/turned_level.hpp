// SPDX-License-Identifier: MIT
// A level that a hand moves, cut into pieces that can be measured: rests, and slices between them.
#pragma once

#include <optional>
#include <vector>

#include "measure/steps.hpp"

namespace railtap::measure {

/// Cuts a level that is turned by hand, with uneven speed, pauses, and down again. Where it rests
/// for 0.2 s it is one step, as `find_plateaus` has it. Everywhere else it is cut into slices over
/// which it moves by 0.8 dB, each 0.25 s at most and four cycles or 40 ms at least; fast turns move
/// by more over that. What moves faster than 30 dB/s is a jump and no turn, and is left out, as is
/// what is 80 dB below the loudest, or below −110 dB.
///
/// \param plateaus those of the track
/// \returns rests and slices (`gliding`) in order of time, numbered from 0
[[nodiscard]] std::vector<Step> cut_turned(const LevelTrack& track,
                                           const std::vector<Step>& plateaus);

}  // namespace railtap::measure
