// SPDX-License-Identifier: MIT
// The A frequency weighting.
#pragma once

#include "units/quantity.hpp"

namespace railtap::measure {

/// A-weighting at a frequency > 0, 0 dB at 1 kHz. Analogue design values, exact at every frequency,
/// so it is applied to spectra and not as a digital filter that would depart from it near half the
/// sampling rate. [IEC 61672-1:2013, annex E: pole frequencies and formula]
[[nodiscard]] Decibels a_weighting(Hertz frequency);

}  // namespace railtap::measure
