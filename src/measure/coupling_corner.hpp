// SPDX-License-Identifier: MIT
// The corner of an AC-coupled chain, from its response at low frequencies.
#pragma once

#include <optional>
#include <span>

#include "measure/swept_response.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// Fits a high-pass of first order to a response: the corner whose loss,
/// 10·log10(1 + (corner/f)²), explains best what is missing below 200 Hz against 500 Hz to 2 kHz.
///
/// Points that miss up to 1 dB decide: there two corners in series look like one, and there tones
/// are measured. Detects a loss of 0.03 dB and more at the lowest usable point.
/// \param low where the sweep began; points within a third of an octave of it are not used
/// \returns none where nothing is missing, the response has no such shape, or does not reach there
[[nodiscard]] std::optional<Hertz> coupling_corner(std::span<const ResponsePoint> response,
                                                   Hertz low);

}  // namespace railtap::measure
