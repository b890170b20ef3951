// SPDX-License-Identifier: MIT
// A tone behind a stage with a knee at each rail, as it is seen in a block over which it moves.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "measure/knee_law.hpp"
#include "measure/tone_fit.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

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

}  // namespace railtap::measure
