// SPDX-License-Identifier: MIT
// The response of a chain from a recorded sweep, and the corner of its coupling.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// The response at one frequency, in the recording's clock.
struct ResponsePoint {
  Hertz frequency{0.0};
  Decibels magnitude{0.0};    ///< recorded level over the level in the file that was played
  double phase_deg = 0.0;     ///< with the main arrival's delay taken out, ±180
  Decibels uncertainty{0.0};  ///< standard uncertainty by the noise around it
};

/// One harmonic while the sweep passes a frequency.
struct SweptHarmonic {
  int order = 2;
  Hertz frequency{0.0};  ///< of the fundamental
  Decibels level{0.0};   ///< re the fundamental
  bool above_noise = false;
};

/// What one channel makes of a sweep. Without points, the sweep did not exceed the noise.
struct SweptResponse {
  std::vector<ResponsePoint> points;     ///< 24 per octave, those above the noise
  std::vector<SweptHarmonic> harmonics;  ///< orders 2 … 5, 3 per octave, within the sweep's band
  double start_frame = 0.0;              ///< where the sweep's main arrival began, in samples
  double clock_ratio = 1.0;              ///< recorded duration over the nominal one, found
};

/// Where in the recording the sweep is.
struct SweepPlace {
  double start_frame = 0.0;     ///< expected first sample; right within 0.1 s
  double clock_ratio = 1.0;     ///< expected; right within 0.005
  bool clock_is_known = false;  ///< true takes the ratio as exact: one clock plays and records, or
                                ///< a long tone gave it
};

/// Measures a sweep's response.
///
/// Deconvolution (measure/deconvolution.hpp) puts the linear response, each harmonic and the noise
/// at times of their own. The clock ratio is refined until the octaves arrive together: a wrong one
/// disperses the response, which changes no magnitude. Then each frequency is read through a window
/// of its own, from 8 cycles before to 32 cycles after the arrival (7 and 16 where noise would
/// count more), so noise is averaged over the same share of an octave everywhere. The same windows,
/// later by several of their lengths, hold nothing but noise and give the uncertainty.
///
/// What it does not distinguish: whatever else rings at a frequency within its 32 cycles.
/// \param samples full scale ±1, finite; may hold more than the sweep, but all of it
/// \returns no points where the sweep does not exceed the noise
/// Accuracy: 0.02 dB where the uncertainty is small, but for the last third of an octave at either
/// end of the sweep, 0.1 dB there.
[[nodiscard]] SweptResponse measure_sweep(std::span<const double> samples, Hertz rate,
                                          const signal::LogSweep& sweep, const SweepPlace& place);

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
