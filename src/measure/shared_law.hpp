// SPDX-License-Identifier: MIT
// One law for a tone at several levels: a stage with a knee at either rail, behind a control that
// is turned. Bottom up: the law and what it makes of a sine, a tone as it is seen in a block over
// which it moves, the fit to all blocks.
#pragma once

#include <array>
#include <cstddef>
#include <memory>
#include <optional>
#include <vector>

#include "measure/static_law.hpp"
#include "measure/tone_fit.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

// A law whose slope falls from one to nothing at either rail, and what it makes of a sine.

/// How the slope of a law falls on the way up to a rail. With x re the rail, and u how far x is
/// beyond the straight part, (x − straight)/(1 − straight) or 0,
///
///     f'(x) = (1 + (2^tail − 1)·u^sharpness)^(−1/tail)
///
/// which is a half at the rail. Of straight 0: tail 1 is the knee that `fit_clipped_sine` knows,
/// sharpness/(1 + sharpness) the p-norm; with a sharpness of 2, tail 1 is an arc tangent, 0.3 a
/// hyperbolic tangent nearly, −1 a cubic. With sharpness 1 and tail −1 the slope falls in a
/// straight line, the output in a parabola. A tail below 0 ends: nothing is left of the slope from
/// some input on. A sharpness of some hundreds is a corner.
struct KneeShape {
  double sharpness = 10.0;  ///< > 0
  double tail = 1.0;        ///< −2 … 3
  double straight = 0.0;    ///< 0 … below 1

  bool operator==(const KneeShape&) const = default;

  /// The slope at an input re the rail, 1 … 0. \param x >= 0
  [[nodiscard]] double slope_at(double x) const;
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

  /// Q_1 … at an amplitude re the rail. Each row is worked out when it is first asked for.
  /// \param ln_amplitude natural logarithm; above that of 15 dB it is held
  /// \param taken receives `count` values, Q_k at index k−1 \param count 1 … orders()
  void at(double ln_amplitude, double* taken, std::size_t count);

  [[nodiscard]] std::size_t orders() const { return orders_; }

  static constexpr std::size_t most_orders = 24;

 private:
  const double* row(std::size_t index);

  std::size_t orders_;
  std::vector<double> law_;   // D at evenly spaced inputs
  std::vector<double> rows_;  // by amplitude, then by order
  std::vector<bool> known_;   // rows
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

/// A rail's part of a law: what it takes, `share` of it, from where its knee is.
struct LawKnee {
  double ln_rail;  ///< natural logarithm of full scales
  double height;   ///< its share of the slope, times the rail, full scales
  std::shared_ptr<KneeTable> table;
};

/// The stage: small inputs pass with a gain of 1, so inputs are in full scales of the recording.
struct KneeStage {
  std::vector<LawKnee> positive, negative;  ///< the shares of either add up to 1
  std::size_t orders;

  /// What it makes of a sine: all orders, or the fundamental alone.
  /// \param ln_input natural logarithm of its amplitude
  void harmonics_at(double ln_input, LawHarmonics& harmonics) const;
  [[nodiscard]] double fundamental_at(double ln_input) const;
  /// Natural logarithm of the highest of its knees, full scales.
  [[nodiscard]] double ln_highest_rail() const;
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
  // What the envelopes of `MovingToneFitter` give for the middle.
  [[nodiscard]] LawHarmonics seen(const KneeStage& stage, double ln_input) const;
  // The same of the fundamental alone, and half its rise.
  struct Fundamental {
    double middle = 0.0, half_rise = 0.0;
  };
  [[nodiscard]] Fundamental seen_fundamental(const KneeStage& stage, double ln_input) const;
  void find_rise(const Fundamental& now);
  void find_input(const KneeStage& stage);

  std::size_t orders_ = 0;
  LawHarmonics measured_{}, sigma_{};
  double rise_ = 0.0;        // of the fundamental from end to end, ln
  double ln_input_ = 0.0;    // in the middle
  double input_rise_ = 0.0;  // from end to end, ln
};

// One law for a tone at several levels: the stage behind a control that is turned.

/// A law without memory: a knee at each rail, of like or unlike sharpness, and maybe a soft one
/// before it, from which on the slope is a share of what it was. Its slope at small inputs is 1, so
/// that inputs are in full scales of the recording.
struct SharedLaw {
  static constexpr std::size_t parameters = 9;
  enum : std::size_t {
    ln_positive,   ///< natural logarithm of the positive rail
    ln_negative,   ///< of the negative one
    ln_sharpness,  ///< of the knees' sharpness
    tail,          ///< as `KneeShape::tail`, of all knees
    straight,      ///< as `KneeShape::straight`, of all knees
    unlike,    ///< the positive knee's sharpness is e^unlike times that, the negative's e^−unlike
    share,     ///< of the slope that goes on to a second knee; 0: there is none
    ln_above,  ///< natural logarithm of the second knee's distance from the first
    ln_second  ///< of its sharpness
  };
  std::array<double, parameters> at{};
  std::array<double, parameters * parameters> covariance{};  ///< of `at`, by rows
  /// Nothing tells the knees from corners: sharpness and tail are not used, and without variance.
  bool corner = false;
  /// Where `corner`: how much higher the best knee has the input at which tops are flat, dB.
  double knee_db = 0.0;
  Hertz fundamental{0.0}, coupling{0.0};
  double misfit = 0.0;         ///< RMS of what the law leaves, in standard deviations; 1 is ideal
  double highest_input = 0.0;  ///< of the tones, amplitude in full scales
  double likelihood = 1.0;     ///< re the law that explains the tones best, 0 … 1
};

/// Fits one law to tones of different level, whose inputs are not known: they follow from the
/// fundamental of each. A block over which the level moves is compared with what a parabola through
/// the moving law gives for its middle, as `MovingToneFitter` measures it, so that the movement
/// rounds nothing.
///
/// Measures: rails and shape of the knee, each with its variance. Does not: tell whether the stage
/// has a memory; then the misfit is large.
/// \param tones of one frequency, the loudest first, at least one of them over a rail
/// \returns the law that explains them best for the number of its parameters, then those that may
/// be instead; none for fewer than three tones
[[nodiscard]] std::vector<SharedLaw> fit_shared_laws(std::vector<LawTone> tones);

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

/// The slope at the crest of a sine of `amplitude`, full scales, at the rail where it is the lower.
[[nodiscard]] double slope_at(const SharedLaw& law, double amplitude);

/// The amplitude at whose crest the slope has fallen to `slope` (0 … 1) at the nearer rail.
[[nodiscard]] double input_at_slope(const SharedLaw& law, double slope);

}  // namespace railtap::measure
