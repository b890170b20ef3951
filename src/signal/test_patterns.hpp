// SPDX-License-Identifier: MIT
// The waveforms of a verification track: bursts that tell left from right, pulses that show
// polarity.
#pragma once

#include <array>

namespace railtap::signal {

/// A burst of two sines of equal amplitude. The lower one passes a bass amplifier's filter, the
/// upper one those of doors and tweeters.
struct PatternBurst {
  bool left;
  double start_s, length_s;
  double low_hz, high_hz;
};

/// Left: one long burst. Right: two short ones, higher. Each side is silent while the other plays,
/// so the pattern also shows crosstalk. The frequencies avoid 50 and 60 Hz and their multiples by
/// 5 Hz and more, and no one is a multiple of another.
inline constexpr std::array<PatternBurst, 3> pattern_bursts{{
    {true, 0.0, 1.5, 43.0, 433.0},
    {false, 2.0, 0.6, 67.0, 677.0},
    {false, 2.9, 0.6, 67.0, 677.0},
}};
inline constexpr double pattern_length_s = 4.0;

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
