// SPDX-License-Identifier: MIT
// The highest peaks of a programme beside what a linear chain would have made of them: the level
// at which a rail cut them, also where it left single samples.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::measure {

/// A rail, by what it took from the highest peaks on its side.
struct CutSide {
  double gain = 0.0;     ///< by how much the rail lowers the squares of what is unexplained
  double missing = 0.0;  ///< squares of what the rail takes away, by the model
  double left = 1.0;     ///< of the cut peaks' unexplained squares, the share that the rail leaves
  double usual = 0.0;  ///< the same squares of a peak that is not cut, over a cut one's; 0 if none
  double level = 0.0;  ///< magnitude in full scales, coupling taken out
  double highest = 0.0;   ///< highest predicted peak, in the same terms
  double depth = 0.0;     ///< RMS of what is missing where something is, over the level
  std::size_t peaks = 0;  ///< cut ones, of those that were kept
};

/// Both rails and the coupling behind them.
struct CutPeaks {
  CutSide positive, negative;
  Hertz coupling{0.0};
};

/// Keeps the highest predicted peaks with the recording around them, at constant memory, and fits
/// rails to them.
///
/// Model: with the coupling's inverse x + ω·∫x applied to both, prediction less recording is
/// g * max(V − c, 0) + b, where V is the prediction between the samples (interpolated four times),
/// g a low-pass at half the sampling rate, and b an offset for each peak. A rail in a digital part
/// of the chain acts on samples: max(V − c, 0) without g; both are tried, and the one that leaves
/// less is kept. Least squares over c and the corner. A window has every sample near the peak, and
/// means over spans that double in length to 32 ms on both sides: after a cut peak the recording
/// stays off by the corner's error times what was cut, which tells the corner from a single peak.
class CutPeakWindows {
 public:
  /// \param coupling the corner as far as it is known, to tell which peaks are highest
  CutPeakWindows(Hertz rate, Hertz coupling);
  /// Samples that follow each other. \param predicted as many as recorded
  void add(std::span<const double> recorded, std::span<const double> predicted);
  /// Fits both rails.
  [[nodiscard]] CutPeaks read() const;

  static constexpr std::size_t core = 24;  ///< samples to each side of a peak that are compared
  static constexpr std::size_t kept = 40;  ///< and that interpolation and low-pass need
  static constexpr std::size_t most_spans = 8;  ///< on either side

  /// A mean over samples beside a peak, towards the peak's side.
  struct Span {
    double count = 0.0, error = 0.0, error_integral = 0.0;
    double highest = 0.0;  ///< predicted
  };
  /// A peak, seen so that it is positive. Integrals are sums over samples, with a leak.
  struct Window {
    double size = 0.0;
    std::array<double, 2 * kept + 1> predicted{}, predicted_integral{};
    std::array<double, 2 * core + 1> error{}, error_integral{};
    std::array<Span, 2 * most_spans> spans{};
  };

 private:
  void look(std::size_t centre);
  [[nodiscard]] Window window_at(std::size_t centre, double sign) const;
  [[nodiscard]] Span span_of(std::size_t first, std::size_t count, double sign) const;

  Hertz rate_;
  double omega_, keep_;
  std::size_t spans_, reach_;
  double predicted_integral_ = 0.0, error_integral_ = 0.0;
  // The last samples: prediction, its integral, prediction less recording, its integral, and the
  // prediction with the coupling taken out.
  std::vector<double> predicted_, predicted_integrals_, errors_, error_integrals_, restored_;
  std::size_t next_ = 0;
  std::array<std::vector<Window>, 2> windows_;  // heaps, the lowest first
};

}  // namespace railtap::measure
