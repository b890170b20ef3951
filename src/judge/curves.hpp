// SPDX-License-Identifier: MIT
// What a picture of one channel is drawn from: the folded cycle, the transfer curve, the spectrum.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "judge/analysis.hpp"
#include "measure/recording.hpp"
#include "measure/spectrum.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// The stretch of a recording that is drawn.
struct Stretch {
  std::int64_t first_frame = 0;
  std::int64_t frames = 0;
};

/// One cycle of the tone with the coupling's tilt taken out, mean 0; values in full scales.
struct CycleCurve {
  std::vector<double> phase_deg;        ///< 0 at the fundamental's upward crossing
  std::vector<double> mean, low, high;  ///< of the samples that fell there
  std::vector<double> sine;             ///< without the rails; empty where neither is flat
  std::optional<double> positive_rail, negative_rail;  ///< its level, where it is flat
};

/// Output against input, the input as a share of the sine's peak, −1 … 1; output in full scales.
struct TransferCurve {
  std::vector<double> input, rising, falling;
};

/// The spectrum, for a picture: two lists side by side, frequency rising.
struct LevelCurve {
  Hertz resolution{0.0};  ///< a level is that of a stretch so wide
  std::vector<double> frequency_hz, level_dbfs;
};

/// Empty vectors where the recording holds no tone.
struct Curves {
  CycleCurve cycle;
  TransferCurve transfer;
  LevelCurve spectrum;
};

/// The segment that a channel's findings are about: the longest tone, else the longest stretch of
/// anything; null where there is none.
[[nodiscard]] const measure::Segment* drawn_segment(const measure::ChannelRecording& recording);

/// What of that segment the spectrum is taken from: its middle, at most 2 s.
[[nodiscard]] Stretch spectrum_stretch(const measure::Segment& segment, Hertz rate);

/// The curves of one channel. \param spectrum of the stretch, from `measure::spectrum_curve`
[[nodiscard]] Curves curves_of(const measure::Segment& segment,
                               const measure::SpectrumCurve& spectrum);

}  // namespace railtap::judge
