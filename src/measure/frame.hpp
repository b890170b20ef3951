// SPDX-License-Identifier: MIT
// Cheap figures of a run of samples: what every sample of a recording is looked at for, and how
// fine its numbers are.
#pragma once

#include <complex>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::measure {

// Cheap figures of a run of samples: what every sample of a recording is looked at for.

/// Sums and extremes, in full scales. Figures of neighbouring runs add up with `merge`.
struct FrameFigures {
  std::int64_t frames = 0;      ///< samples, all of one channel
  std::int64_t non_finite = 0;  ///< of them, NaN or infinite
  double sum = 0.0;
  double sum_of_squares = 0.0;
  double lowest = 0.0;
  double highest = 0.0;

  void merge(const FrameFigures& other);
  /// Mean square with DC taken out, full scales².
  [[nodiscard]] double mean_square_ac() const;
};

/// Figures of a run; where non_finite > 0 the others do not hold.
[[nodiscard]] FrameFigures figures(std::span<const double> samples);

/// One frame of FrameLevel: its plain figures, and the level that its weight gives.
struct WeightedFigures {
  FrameFigures plain;
  double mean_square = 0.0;  ///< weighted, DC taken out, full scales²
};

/// Level of short frames with a raised-cosine weight, so that a frame need not hold whole cycles:
/// from two cycles on, the level of a steady sine is the same in every frame within 0.05 dB.
class FrameLevel {
 public:
  /// \param length samples in a frame, > 0
  explicit FrameLevel(std::size_t length);
  /// The frame's figures and its weighted mean square in one pass. \param samples as many as the
  /// frame's length
  [[nodiscard]] WeightedFigures figures(std::span<const double> samples) const;

 private:
  std::vector<double> weight_;  // adds up to 1
};

/// Counts samples at digital full scale, across calls.
struct FullScaleRuns {
  double positive_limit =
      1.0;  ///< the highest code, full scales: 1 − 2^(1−bits) for PCM, 1 for float
  double negative_limit = -1.0;
  /// Only samples exactly at a limit count. So it is with numbers that could go beyond: what does
  /// is no overload.
  bool exact = false;
  std::int64_t samples = 0;  ///< at a limit, or beyond unless `exact`
  std::int64_t longest = 0;  ///< samples in a row at the same limit

  /// \param figures those of the same samples; where they stay below the limits, no sample is
  /// looked at
  void add(std::span<const double> samples, const FrameFigures& figures);

 private:
  std::int64_t run_ = 0;
  int side_ = 0;
};

/// Compares a block with a tone of known frequency, at a few operations a sample, to decide whether
/// it is like one that was measured in full. Mean squares in full scales² over the whole bandwidth.
struct ToneScreen {
  double fundamental = 0.0;
  double residual = 0.0;
  double lowest = 0.0;
  double highest = 0.0;
};

/// Makes screens at one frequency; keeps its table.
class ToneScreener {
 public:
  /// \param cycles_per_sample frequency over sampling rate, 0 … 0.5
  void tune(double cycles_per_sample);
  /// \param figures those of the same samples
  [[nodiscard]] ToneScreen screen(std::span<const double> samples,
                                  const FrameFigures& figures) const;
  /// Whether the tone's phase steps at a sample, as it does where samples are missing or doubled:
  /// by a tenth of a radian or more, by the windows of 50 ms before and behind it and, from 100 Hz
  /// on, by those of 10 ms as well. What it turns by from one window to the next on the same side,
  /// as a speed that wavers makes it, is no step.
  /// \param border with 0.1 s on either side
  [[nodiscard]] bool steps_in_phase(std::span<const double> samples, std::size_t border,
                                    Hertz rate) const;

 private:
  [[nodiscard]] bool steps_in_phase(std::span<const double> samples, std::size_t border,
                                    double window) const;
  [[nodiscard]] std::complex<double> project(std::span<const double> samples) const;

  double cycles_per_sample_ = 0.0;
  std::vector<double> re_, im_;
};

// How fine the numbers of a recording really are, whatever the file could hold.

/// Finds the coarsest step 2^−n of which all samples are multiples: a recording of 8 bits stays one
/// in a file of 24, or of floating-point numbers.
class CodeStep {
 public:
  /// \param samples full scale ±1
  void add(std::span<const double> samples);
  /// In full scales; none before a sample that is not 0, and where there is no step of 2^−24 or
  /// more.
  [[nodiscard]] std::optional<double> step() const;

 private:
  std::uint64_t bits_ = 0;  // of all samples in units of 2^−32, together
  bool off_grid_ = false;
};

}  // namespace railtap::measure
