// SPDX-License-Identifier: MIT
// One law for a tone at several levels: the stage behind a control that is turned.
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>

#include "measure/knee_law.hpp"
#include "measure/law_tone.hpp"
#include "measure/static_law.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// A law without memory, one knee at each rail, both of one shape. Its slope at small inputs is 1,
/// so that inputs are in full scales of the recording.
struct SharedLaw {
  static constexpr std::size_t parameters = 4;
  /// ln of the positive rail, of the negative one, of the shape's sharpness and of its depth.
  std::array<double, parameters> at{};
  std::array<double, parameters * parameters> covariance{};  ///< of `at`, by rows
  /// Nothing tells the knees from corners: sharpness and depth are not used, and without variance.
  bool corner = false;
  /// Where `corner`: how much higher the best knee has the input at which tops are flat, dB.
  double knee_db = 0.0;
  Hertz fundamental{0.0}, coupling{0.0};
  double misfit = 0.0;         ///< RMS of what the law leaves, in standard deviations; 1 is ideal
  double highest_input = 0.0;  ///< of the tones, amplitude in full scales

  [[nodiscard]] double positive() const;
  [[nodiscard]] double negative() const;
  [[nodiscard]] KneeShape shape() const;
};

/// Fits one law to tones of different level, whose inputs are not known: they follow from the
/// fundamental of each. A block over which the level moves is compared with what a parabola through
/// the moving law gives for its middle, as `MovingToneFitter` measures it, so that the movement
/// rounds nothing.
///
/// Measures: rails and shape of the knee, each with its variance. Does not: tell whether the stage
/// has a memory; then the misfit is large.
/// \param tones of one frequency, at least one of them over a rail
/// \returns none for fewer than three tones
[[nodiscard]] std::optional<SharedLaw> fit_shared_law(std::span<const LawTone> tones);

/// What a shared law makes of sines.
class SharedLawOutput {
 public:
  /// \param orders that are counted, 1 … 24
  SharedLawOutput(const SharedLaw& law, std::size_t orders);

  /// Of a sine of `amplitude`, full scales, behind the coupling.
  [[nodiscard]] LawOutput at(double amplitude) const;

 private:
  KneeStage stage_;
  double corner_re_fundamental_;
};

/// The amplitude at whose crest the slope has fallen to `slope` (0 … 1) at the nearer rail.
[[nodiscard]] double input_at_slope(const SharedLaw& law, double slope);

}  // namespace railtap::measure
