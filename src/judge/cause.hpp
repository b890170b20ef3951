// SPDX-License-Identifier: MIT
// What is wrong with a recorded tone: one cause, in one sentence, with one remedy.
#pragma once

#include <optional>
#include <string>

#include "measure/recording.hpp"
#include "measure/waveform_shape.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

struct Findings;
struct Limits;

/// What most of the trouble comes from (docs/formats.md has each in a sentence).
enum class CauseKind {
  clipping,
  filtered_clipping,  ///< rails, and a filter behind them that tilts or rounds the flat tops
  input_overload,
  soft_compression,
  uneven_halves,  ///< one half of the wave is bent more than the other: even harmonics
  crossover,
  slew,
  hum,
  whine,
  foreign_tone,
  hiss,
  too_soft,          ///< noise of the recording itself, under a tone that is too low
  coarse_codes,      ///< rounding to the recording's codes
  level_pumping,     ///< the level goes up and down by itself
  level_moving,      ///< it goes one way
  speed_wavering,    ///< the phase wavers: a clock or a mechanism
  frequency_moving,  ///< it goes one way: a sweep, or a speed that drifts
  gaps,
  clicks,
  missing_samples,
  unknown
};

/// The cause. What does not belong to a kind is absent.
struct Cause {
  CauseKind kind = CauseKind::unknown;
  std::string sentence;
  std::string remedy;
  std::optional<Percent> share;       ///< of the power of all that is not the tone
  std::optional<Hertz> frequency;     ///< of hum, whine, a foreign tone, or one that moves
  std::optional<Decibels> turn_down;  ///< that much less, and the cause is gone or within the limit
  std::optional<bool> input_excluded;  ///< clipping: whether it cannot be the recording input's
};

/// What was found of a waveform, for as long as it stays the same: for a signal that is judged
/// block after block with the same limits.
struct WaveformMemory {
  measure::HarmonicSeries series;  ///< for which the rest holds; empty: nothing is known
  std::optional<measure::ShapeFit> shape;
  std::optional<measure::ClippedSineFit> clip;
  std::optional<std::optional<Decibels>> turn_down;  ///< as Cause has it, of a bent waveform

  /// Forgets what does not hold for this waveform.
  void look_at(const measure::HarmonicSeries& now);
};

/// fit_clipped_sine, or what it gave for the same waveform before. Where the harmonics are less
/// than 1 % of the tone it is always made anew: a clip that just begins changes little.
[[nodiscard]] measure::ClippedSineFit clip_of(const measure::HarmonicSeries& now,
                                              WaveformMemory& memory);

/// Whether the waveform is cut at rails, whatever the limits say; none where that cannot be told.
/// \param shape of the same segment, where it was looked for
[[nodiscard]] std::optional<bool> is_clipped(const measure::Segment& segment,
                                             const Findings& findings,
                                             const std::optional<measure::ShapeFit>& shape);

/// Whether what is not the tone is no more than the rounding to the recording's codes makes.
[[nodiscard]] bool is_rounding(const measure::Segment& segment,
                               const measure::ChannelRecording& recording, Hertz rate,
                               const Limits& limits);

/// The shape of a segment's waveform, where the clipped-sine model leaves a question; else none.
/// \param memory of the signal's earlier blocks; may be null
[[nodiscard]] std::optional<measure::ShapeFit> shape_in_question(const measure::Segment& segment,
                                                                 WaveformMemory* memory);

/// The cause for a tone; none where the tone is clean and nothing interrupts it.
/// \param findings already with verdict, `clipped` and flat tops
/// \param memory as shape_in_question has looked at it; may be null
[[nodiscard]] std::optional<Cause> cause_of_tone(const measure::ChannelRecording& recording,
                                                 const measure::Segment& segment,
                                                 const Findings& findings,
                                                 const std::optional<measure::ShapeFit>& shape,
                                                 Hertz rate, const Limits& limits,
                                                 WaveformMemory* memory);

/// The cause where there is no steady tone: its pitch or its level moves, or none that is known.
[[nodiscard]] std::optional<Cause> cause_without_tone(const measure::ChannelRecording& recording,
                                                      const Findings& findings, Hertz rate);

/// The word in the JSON document.
[[nodiscard]] const char* name(CauseKind kind);

}  // namespace railtap::judge
