// SPDX-License-Identifier: MIT
// One cycle put together from all cycles of a tone: the picture of the waveform, and a check
// of the clipped-sine model.
#pragma once

#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "measure/clipped_sine.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// The samples that fell into one slice of the cycle.
struct FoldedPoint {
  double phase =
      0.0;  ///< mean phase of these samples, cycles 0 … 1; 0 is the fundamental's upward crossing
  double mean = 0.0;        ///< full scales
  double low = 0.0;         ///< smallest sample
  double high = 0.0;        ///< largest sample
  std::uint64_t count = 0;  ///< >= 1
};

/// Folds a tone's samples over each other by the phase of its fundamental. Blocks are added as they
/// come; nothing is allocated after construction but what `points` returns.
class CycleFold {
 public:
  /// \param slices  of the cycle, 16 … 4096; 256 make a smooth picture
  explicit CycleFold(std::size_t slices = 256);

  /// \param samples  full scales
  /// \param phase    of the fundamental at the first sample, as a sine: 0 at its upward crossing,
  /// cycles \param step     fundamental over sampling rate, cycles per sample, 0 … 0.5
  void add(std::span<const double> samples, double phase, double step);

  void clear();

  /// The slices that hold samples, in order of phase. A tone whose cycle is a whole number of
  /// samples fills only as many slices as that.
  [[nodiscard]] std::vector<FoldedPoint> points() const;

 private:
  struct Slice {
    double offset = 0.0, sum = 0.0;
    double low = std::numeric_limits<double>::infinity();
    double high = -std::numeric_limits<double>::infinity();
    std::uint64_t count = 0;
  };
  std::vector<Slice> slices_;
};

/// The flat part of one half of the cycle, as the fold shows it.
struct Plateau {
  bool flat = false;   ///< a plateau explains the half cycle clearly better than a sine's crest
  Percent share{0.0};  ///< of the whole cycle; 0 when not flat
  double crest_gain =
      1.0;  ///< slope of the waveform on the plateau re that of the sine there; 0 is flat
};

/// Output against input at one instantaneous value of the input.
struct TransferPoint {
  double input = 0.0;    ///< the sine, −1 … 1
  double rising = 0.0;   ///< output while the sine rises, full scales
  double falling = 0.0;  ///< output while it falls; differs where the chain has memory
};

/// What the fold shows about the waveform.
struct FoldReading {
  std::vector<FoldedPoint> upright;     ///< the cycle with the coupling's tilt taken out, mean 0
  std::vector<TransferPoint> transfer;  ///< the static transfer curve, input rising
  Plateau positive, negative;
};

/// Reads plateaus and transfer curve from a folded cycle.
///
/// Measures: per half cycle, the flat part's share, by least squares of a·max-limited cosine in the
/// time domain, which shares nothing with the model fit but the coupling corner. Does not: resolve
/// plateaus shorter than about 3 slices, or tones with fewer than about 20 samples a cycle. Tilt: y
/// = x + 2π·fc·∫x dt undoes jf/(fc + jf) exactly. \param points    from CycleFold::points, at least
/// 16, else everything is empty \param coupling  the fitted corner; 0 takes nothing out
[[nodiscard]] FoldReading read_fold(std::span<const FoldedPoint> points, Hertz fundamental,
                                    Hertz coupling);

/// Whether model and folded cycle agree.
enum class Agreement {
  agree,
  disagree,
  cannot_tell,  ///< too few harmonics for plateaus to show, or plateaus too short for the fold
};
[[nodiscard]] Agreement compare(const FoldReading& fold, const ClippedSineFit& fit);

}  // namespace railtap::measure
