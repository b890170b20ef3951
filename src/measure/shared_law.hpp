// SPDX-License-Identifier: MIT
// One law for a tone at several levels: a stage with a knee at either rail, behind a control that
// is turned. Bottom up: the law and what it makes of a sine, a tone as it is seen in a block over
// which it moves, the fit to all blocks.
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "measure/static_law.hpp"
#include "measure/tone_fit.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

// A law whose slope falls from one to nothing at either rail, and what it makes of a sine.

/// How the slope of a law falls on the way up to a rail: f'(x) = (1 + x^sharpness)^(−depth), x re
/// the rail. Depth 1 is the knee that `fit_clipped_sine` knows, 1 + 1/sharpness the p-norm; a
/// sharpness of some hundreds is a corner.
struct KneeShape {
  double sharpness = 10.0;  ///< > 0
  double depth = 1.0;       ///< > 0

  /// The input re the rail at which the slope has fallen to `slope` (0 … 1).
  [[nodiscard]] double input_at(double slope) const;
};

/// What a knee of one shape takes away from the harmonics of a sine, for sines of all amplitudes.
///
/// With D(x) = x − f(x), the part that one rail takes is Q_k(A) = (2/π)·∫₀^(π/2) D(A·cos θ)·cos kθ
/// dθ, so a sine of amplitude A between rails c₁ and −c₂ has a_k = A·[k = 1] − c₁·Q_k(A/c₁) +
/// (−1)^k·c₂·Q_k(A/c₂) (integrated by hand). The table depends on the shape alone.
class KneeTable {
 public:
  /// \param orders 1 … most_orders
  KneeTable(const KneeShape& shape, std::size_t orders);

  /// Q_1 … Q_orders at an amplitude re the rail. \param ln_amplitude natural logarithm; above that
  /// of 15 dB it is held \param taken receives orders() values, Q_k at index k−1
  void at(double ln_amplitude, double* taken) const;

  [[nodiscard]] std::size_t orders() const { return orders_; }

  static constexpr std::size_t most_orders = 24;

 private:
  std::size_t orders_;
  std::vector<double> rows_;  // by amplitude, then by order
};

// A tone behind a stage with a knee at each rail, as it is seen in a block over which it moves.

/// A tone at one level, or in the middle of a block over which the level moves.
struct LawTone {
  const HarmonicSeries* series = nullptr;  ///< must outlive what is made of it
  std::size_t orders = 1;                  ///< in the band
  double rise_db = 0.0;  ///< of the fundamental from end to end of the block; 0: it rests
};

/// Amplitudes of orders 1 … most_orders, full scales, at index order − 1.
using LawHarmonics = std::array<double, KneeTable::most_orders>;

/// What a chain adds by itself, re the fundamental, and what is open in its own response: a fit
/// does not ask for more.
inline constexpr double own_share = 5e-5;
inline constexpr double response_share = 0.004;

/// The stage: small inputs pass with a gain of 1, so inputs are in full scales of the recording.
struct KneeStage {
  double positive, negative;  ///< rails, full scales
  KneeTable table;

  /// What it makes of a sine. \param ln_input natural logarithm of its amplitude
  void harmonics_at(double ln_input, LawHarmonics& harmonics) const;
};

/// A tone as a law is fitted to it. Its input is not known, and found from the fundamental.
class FittedTone {
 public:
  /// \param coupling its corner
  FittedTone(const LawTone& tone, Hertz coupling);

  /// Appends what the stage leaves of each harmonic, in standard deviations. The fundamental's
  /// own noise moves the input that is found, and with it the other harmonics.
  void add_residuals(const KneeStage& stage, std::vector<double>& residuals);

  [[nodiscard]] std::size_t orders() const { return orders_; }
  [[nodiscard]] double ln_input() const { return ln_input_; }

 private:
  // What the envelopes of `MovingToneFitter` give for the middle, and half the fundamental's rise.
  struct Seen {
    LawHarmonics middle{};
    double half_rise = 0.0;
  };

  [[nodiscard]] Seen seen(const KneeStage& stage, double ln_input) const;
  void find_rise(const Seen& now);
  void find_input(const KneeStage& stage);

  std::size_t orders_ = 0;
  LawHarmonics measured_{}, sigma_{};
  double rise_ = 0.0;        // of the fundamental from end to end, ln
  double ln_input_ = 0.0;    // in the middle
  double input_rise_ = 0.0;  // from end to end, ln
};

// One law for a tone at several levels: the stage behind a control that is turned.

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
