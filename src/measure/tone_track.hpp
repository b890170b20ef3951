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

/// The tone in slices of whole cycles, at least two and at least 4 ms, each half over the next,
/// with a raised-cosine weight, whose transform is zero at the harmonics and at DC.
class ToneTrack {
 public:
  /// \param cycles_per_sample of the tone, within a few parts in a thousand
  void follow(std::span<const double> samples, double cycles_per_sample);

  [[nodiscard]] std::size_t slices() const { return slice_.size(); }
  [[nodiscard]] std::size_t slice_length() const { return length_; }
  /// Whether the phase is another one behind a break than before it, and stays so.
  [[nodiscard]] bool has_phase_step() const;
  /// Over all slices, about their mean.
  [[nodiscard]] Modulation modulation() const;
  /// The longest stretch in which amplitude and phase go on evenly; all samples where there is no
  /// break. \param[out] breaks the first sample of every break
  [[nodiscard]] SampleRange longest_even(std::vector<std::size_t>& breaks) const;

 private:
  [[nodiscard]] std::vector<char> uneven() const;

  std::size_t samples_ = 0, length_ = 0, hop_ = 0;
  std::vector<double> re_, im_;              // weight·cos, weight·sin
  std::vector<std::complex<double>> slice_;  // peak amplitude and phase against the steady tone
};

}  // namespace railtap::measure
