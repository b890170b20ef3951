// SPDX-License-Identifier: MIT
// What a ladder lacks: steps that are not in the recording, an output that went silent, and how far
// its steps can be numbered.
#pragma once

#include "judge/onset.hpp"
#include "measure/ladder_alignment.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// Adds to a channel's onset what its ladder lacks, and a sentence on each kind of lack.
/// \param planned how many steps the ladder was played with; 0: not known
void tell_gaps(ChannelOnset& onset, const measure::AlignedLadder& ladder,
               const std::optional<LadderInput>& input, int planned, Hertz rate);

/// The words in the JSON document.
[[nodiscard]] const char* name(measure::Numbering numbering);
[[nodiscard]] const char* name(measure::Absence absence);

}  // namespace railtap::judge
