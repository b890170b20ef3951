// SPDX-License-Identifier: MIT
// Steps cut out of a ladder where the levels do not show it: among steps that a rail holds.
#pragma once

#include <vector>

#include "measure/known_steps.hpp"
#include "measure/ladder_alignment.hpp"

namespace railtap::judge {

/// From step to step of a ladder the overdrive grows by the ladder's rise, where the levels no
/// longer do. Where it grows by a whole multiple of it, steps are missing: numbers the others anew
/// in `steps` and in `ladder`, and adds the missing ones, as `by_distortion` too.
///
/// Two neighbours more that are one rise apart must show that the distortion follows the ladder; so
/// it does not find a hole where a supply sags, or among fewer than four steps over a rail by 1 dB.
/// \param steps of `ladder`, in order of time \param planned how many there were; 0: not known
void place_by_distortion(std::vector<measure::MeasuredStep>& steps, measure::AlignedLadder& ladder,
                         int planned);

}  // namespace railtap::judge
