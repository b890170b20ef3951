// SPDX-License-Identifier: MIT
// Band-limited pink noise as one long period of many sines.
#pragma once

#include <vector>

#include "units/quantity.hpp"

namespace railtap::signal {

/// One period of noise with RMS 1: every frequency between the two edges that fits the period, at
/// an amplitude of 1/√f and a random phase (fixed seed). So the slope is exactly −10 dB a decade,
/// nothing lies outside the band, and repeating it makes no seam. The period is 2¹⁸ samples: 5.9 s
/// at 44.1 kHz, 2.7 s at 96 kHz.
[[nodiscard]] std::vector<double> pink_noise_period(Hertz low, Hertz high, Hertz rate);

}  // namespace railtap::signal
