// SPDX-License-Identifier: MIT
// Runs of samples at exactly the highest or lowest value: how a converter that overloads, or a file
// that was clipped as numbers, gives itself away.
#pragma once

#include <cstdint>
#include <span>

#include "measure/frame.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// The extreme value on one side, and how samples sit at it.
struct FlatSide {
  double value = 0.0;        ///< full scales
  std::int64_t samples = 0;  ///< at exactly this value
  std::int64_t longest = 0;  ///< in a row
  std::int64_t runs = 0;     ///< of three in a row or more
};

/// Counts runs at the extremes of a stream, which are known only at its end: a new extreme starts
/// the count again. Analog plateaus carry the noise of what comes behind them, so their samples
/// scatter over codes; a converter's limit, or a number's, is the same code every time.
class FlatRuns {
 public:
  /// \param figures  those of the same samples; where they stay inside the extremes, no sample is
  /// looked at. Not-a-numbers count as nothing.
  void add(std::span<const double> samples, const FrameFigures& figures);

  [[nodiscard]] const FlatSide& high() const { return high_; }
  [[nodiscard]] const FlatSide& low() const { return low_; }

  /// The longest run on either side.
  [[nodiscard]] std::int64_t longest() const;
  /// Samples at either extreme.
  [[nodiscard]] std::int64_t samples() const { return high_.samples + low_.samples; }
  /// The same, of all samples.
  [[nodiscard]] Percent share() const;

 private:
  void look(double sample);

  FlatSide high_, low_;
  std::int64_t run_high_ = 0, run_low_ = 0;
  std::int64_t total_ = 0;
};

/// The most samples in a row that a clean sine may have at its highest code: it stays within one
/// and a half codes below its crest (half of a code for rounding, one for dither) for an angle of
/// acos(1 − 1.5·step/peak) to each side. Derived.
/// \param code_step  distance of two codes, full scales
/// \param peak       of the sine, full scales, > 0
[[nodiscard]] std::int64_t longest_innocent_run(double code_step, double peak, Hertz frequency,
                                                Hertz rate);

/// In music, more equal samples than this in a row at the peak are a flat top (common practice).
inline constexpr std::int64_t longest_innocent_run_in_music = 3;

/// Whether samples that all sit at one code can come from an analog plateau: not if the noise
/// around, that would have moved some of them, is as large as a code.
/// \param noise_rms  full scales
[[nodiscard]] bool noise_would_show(double noise_rms, double code_step, std::int64_t run);

}  // namespace railtap::measure
