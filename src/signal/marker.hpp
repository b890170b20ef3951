// SPDX-License-Identifier: MIT
// The marker that announces a signal, so that a recording can be taken apart without being told
// how it was made.
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

}  // namespace railtap::signal
