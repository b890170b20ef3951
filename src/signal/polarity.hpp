// SPDX-License-Identifier: MIT
// The waveform that shows polarity: cosines that all crest together, so that tips point upwards.
#pragma once

#include <array>

namespace railtap::signal {

/// Amplitudes of orders 1 … 4: x(t) = Σ a_k·cos(k·ω·t). Upwards it reaches their sum, 2.5,
/// downwards 0.625: 12 dB less. For detection: with φ_k the phase of order k, 2φ₁ − φ₂ does not
/// depend on when a recording began; it is 0 here and 180° where the signal is inverted. Delay does
/// not turn that difference at all; a filter's slope must turn it by 90° to mislead.
inline constexpr std::array<double, 4> polarity_amplitudes{1.0, 0.75, 0.5, 0.25};

/// Fundamentals below this have orders 1 and 2 only, since what they are for ends above (a bass
/// amplifier behind its low-pass filter).
inline constexpr double polarity_low_limit_hz = 60.0;
inline constexpr int polarity_orders_low = 2;

/// How many orders a waveform of this fundamental has.
[[nodiscard]] constexpr int polarity_orders(double fundamental_hz) {
  return fundamental_hz < polarity_low_limit_hz ? polarity_orders_low
                                                : static_cast<int>(polarity_amplitudes.size());
}

}  // namespace railtap::signal
