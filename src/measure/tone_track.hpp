// SPDX-License-Identifier: MIT
// Amplitude and phase of a tone as they go: whether it wavers, and where it breaks.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::measure {

/// How much a tone's amplitude and phase vary: mean squares, of the relative amplitude and of the
/// phase in radians. White noise has equal parts of both.
struct Modulation {
  double amplitude = 0.0;
  double phase = 0.0;
};

/// A stretch of samples.
struct SampleRange {
  std::size_t first = 0, length = 0;
};

/// Where a tone does not go on evenly.
struct ToneBreak {
  std::size_t at = 0;       ///< its first sample, to half a slice
  SampleRange around;       ///< all samples of the slices that it touches
  bool phase_step = false;  ///< the phase behind it is another one than before it, and stays so
};

/// The tone in slices of whole cycles, at least two and at least 4 ms, each half over the next,
/// with a raised-cosine weight, whose transform is zero at the harmonics and at DC.
class ToneTrack {
 public:
  /// \param cycles_per_sample of the tone, within a few parts in a thousand \param block the
  /// stretch that matters: slices are cut to its length, `modulation` is that within it
  void follow(std::span<const double> samples, double cycles_per_sample, SampleRange block);

  [[nodiscard]] std::size_t slices() const { return slice_.size(); }
  [[nodiscard]] std::size_t slice_length() const { return length_; }
  /// Over the slices that lie in the block, about their mean.
  [[nodiscard]] Modulation modulation() const;
  /// The longest stretch of the block in which amplitude and phase go on evenly; all of it where
  /// there is no break. \param[out] breaks those that touch the block, in order of time
  [[nodiscard]] SampleRange longest_even(std::vector<ToneBreak>& breaks) const;

 private:
  // Slices in a row, one past the last.
  struct Run {
    std::size_t first = 0, end = 0;
  };
  [[nodiscard]] std::vector<char> uneven() const;
  [[nodiscard]] bool steps_in_phase(Run run, double turn) const;
  [[nodiscard]] double usual_turn() const;
  [[nodiscard]] SampleRange in_block(std::size_t first, std::size_t end) const;

  SampleRange block_;
  std::size_t length_ = 0, hop_ = 0;
  std::vector<double> re_, im_;              // weight·cos, weight·sin
  std::vector<std::complex<double>> slice_;  // peak amplitude and phase against the steady tone
};

}  // namespace railtap::measure
