// SPDX-License-Identifier: MIT
// What a rising level says: the highest clean step, and the voltage at which clipping begins.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "measure/level_steps.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// One step, in volts.
struct StepFinding {
  bool clean = false;  ///< neither flat-topped nor over the THD+N limit
  bool flat = false;
  Volts level{0.0};  ///< RMS, in the measuring band
  Percent thdn{0.0};
  std::optional<Decibels> overdrive;  ///< over the nearer rail, where it is flat
  std::optional<Volts>
      onset;  ///< RMS of the sine that just touches the nearer rail, by the clipped-sine model
};

struct StepFindings {
  std::vector<StepFinding> steps;
  std::optional<std::size_t>
      highest_clean;  ///< the last one before the first that is not; none if that is the first
  /// Where clipping begins: from the first flat-topped step, whose rails are known best because
  /// they have moved least. None where no step is flat-topped.
  std::optional<Volts> onset;
};

/// \param volts_per_full_scale peak volts at digital full scale, > 0
/// \param thdn_limit above this a step is not clean
[[nodiscard]] StepFindings judge_steps(const std::vector<measure::LevelStep>& steps,
                                       Volts volts_per_full_scale, Percent thdn_limit);

/// RMS of the sine that just touches the nearer of the rails of a fitted waveform; none where
/// neither is flat.
[[nodiscard]] std::optional<Volts> onset_of(const measure::ClippedSineFit& fit,
                                            Volts volts_per_full_scale);

}  // namespace railtap::judge
