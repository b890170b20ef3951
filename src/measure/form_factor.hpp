// SPDX-License-Identifier: MIT
// RMS over rectified mean of a measured tone: what an average-responding meter goes wrong by.
#pragma once

#include "measure/harmonics.hpp"

namespace railtap::measure {

/// RMS over the mean of |x| of one cycle, DC excluded: π/(2√2) = 1.1107 for a sine, 1 for a square.
/// Computed from one cycle put together from the harmonics, at 16 points or more per cycle of the
/// highest. \param tone not empty, with a fundamental above zero; \throws Error otherwise
[[nodiscard]] double form_factor(const HarmonicSeries& tone);

}  // namespace railtap::measure
