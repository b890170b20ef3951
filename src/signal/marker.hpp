// SPDX-License-Identifier: MIT
// The marker that announces a signal, so that a recording can be taken apart without being told how
// it was made; and the waveforms of a verification track: bursts that tell left from right, pulses
// that show polarity.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "signal/tone.hpp"

// The waveform: a sine of constant level whose frequency takes one of four values for the length of
// a symbol (frequency-shift keying, phase continuous). Eight symbols that are always the same, to
// be found by; then thirty that carry 60 bits, most significant first: kind, five numbers, CRC.
// Then silence; the announced signal starts marker_length after the marker did. It decides by which
// of four frequencies is strongest and by nothing else, so gain, polarity, coupling, tone controls
// and lossy coding do not matter, and half a percent of clock error is a fifth of a symbol at its
// end.

namespace railtap::signal {

/// The four frequencies and the length of a symbol.
struct MarkerWaveform {
  std::array<double, 4> frequency_hz;
  double symbol_s;
};

/// Symbols are whole numbers of samples at 44.1, 48, 88.2 and 96 kHz, and the spacing of the
/// frequencies is a whole number of cycles per symbol, so each is orthogonal to the others.
inline constexpr MarkerWaveform mid_marker{{800.0, 950.0, 1100.0, 1250.0}, 0.06};
/// For what passes a low-pass filter; 5 s instead of 2.3 s long.
inline constexpr MarkerWaveform low_marker{{35.0, 50.0, 65.0, 80.0}, 2.0 / 15.0};

/// −20 dBFS: as loud as quiet music, well above any noise, and far from every rail.
inline constexpr Dbfs marker_level{-20.0};
inline constexpr double marker_gap_s = 0.5;  ///< silence between the marker and its signal

/// Each frequency twice, no symbol twice in a row; of all such orders one whose overlap with itself
/// is at most one symbol at any shift (found by trying all).
inline constexpr std::array<std::uint8_t, 8> marker_preamble{1, 2, 3, 0, 2, 0, 3, 1};
inline constexpr std::size_t marker_data_symbols = 30;
inline constexpr std::size_t marker_symbols = marker_preamble.size() + marker_data_symbols;
/// Symbols 0 … 3: each is the index of its frequency.
using MarkerData = std::array<std::uint8_t, marker_data_symbols>;

/// The waveform of a range. `none` has none and is not to be asked for.
[[nodiscard]] const MarkerWaveform& waveform(MarkerBand band);

/// From the marker's start to that of the signal that it announces.
[[nodiscard]] Seconds marker_length(MarkerBand band);

/// The data symbols that announce a signal. Announced are ladders, sweeps, stepped sines of
/// successive third-octave frequencies (1 Hz to 20 kHz as ISO 266 rounds them), polarity pulses,
/// channel patterns, silence and sines. \throws Error for a signal that has no announcement, or
/// whose numbers do not fit: levels in steps of 0.1 dB down to −102.3 dBFS, ladder steps 0.1 … 25.5
/// dB, dwell 0.1 … 25.5 s in steps of 0.1 s, frequencies in whole hertz (a sweep's upper one in
/// steps of 100 Hz)
[[nodiscard]] MarkerData announce(const Signal& signal);

/// The signal that symbols announce; none when the CRC is wrong. Fields that a marker does not
/// carry are 0 or empty.
[[nodiscard]] std::optional<Signal> announced_signal(std::span<const std::uint8_t> data);

// The waveforms of a verification track: bursts that tell left from right, pulses that show
// polarity.

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
