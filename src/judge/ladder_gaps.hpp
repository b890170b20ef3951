// SPDX-License-Identifier: MIT
// What a ladder lacks: steps that are not in the recording, also among steps that a rail holds, an
// output that went silent, and how far its steps can be numbered.
#pragma once

#include <vector>

#include "judge/onset.hpp"
#include "measure/known_steps.hpp"
#include "measure/ladder_alignment.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

// Steps cut out of a ladder where the levels do not show it: among steps that a rail holds.

/// From step to step of a ladder the overdrive grows by the ladder's rise, where the levels no
/// longer do. Where it grows by a whole multiple of it, steps are missing: numbers the others anew
/// in `steps` and in `ladder`, and adds the missing ones, as `by_distortion` too.
///
/// Two neighbours more that are one rise apart must show that the distortion follows the ladder; so
/// it does not find a hole where a supply sags, or among fewer than four steps over a rail by 1 dB.
/// \param steps of `ladder`, in order of time \param planned how many there were; 0: not known
void place_by_distortion(std::vector<measure::MeasuredStep>& steps, measure::AlignedLadder& ladder,
                         int planned);

// What a ladder lacks: steps that are not in the recording, an output that went silent, and how far
// its steps can be numbered.

/// Adds to a channel's onset what its ladder lacks, and a sentence on each kind of lack.
/// \param planned how many steps the ladder was played with; 0: not known
void tell_gaps(ChannelOnset& onset, const measure::AlignedLadder& ladder,
               const std::optional<LadderInput>& input, int planned, Hertz rate);

/// The words in the JSON document.
[[nodiscard]] const char* name(measure::Numbering numbering);
[[nodiscard]] const char* name(measure::Absence absence);

}  // namespace railtap::judge
