// SPDX-License-Identifier: MIT
// What was recorded against what a linear chain would have recorded: where the curve goes flat.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "measure/cut_peaks.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// The inverse of a first-order high-pass, x = y + ω·∫y, with a leak at 0.2 Hz; corner 0 leaves
/// all as it is.
class CouplingInverse {
 public:
  CouplingInverse(Hertz corner, Hertz rate);
  [[nodiscard]] double restore(double sample) {
    const double step = omega_ * sample;
    integral_ = keep_ * integral_ + step;
    return sample + integral_ - 0.5 * step;  // the trapezoidal rule
  }
  void restore(std::span<const double> samples, std::span<double> out);

 private:
  double omega_, keep_, integral_ = 0.0;
};

/// Corners of a coupling that are tried.
using Corners = std::array<Hertz, 8>;
/// None, and up to 21 Hz.
[[nodiscard]] Corners coarse_corners();
/// About one that was found.
[[nodiscard]] Corners corners_around(Hertz corner, Hertz apart);

/// Where a chain stops to follow, on one side.
struct AddedRail {
  bool flat = false;           ///< beyond the level the recording stays at it
  double level = 0.0;          ///< magnitude in full scales, coupling taken out; 0 if not flat
  double overdrive = 1.0;      ///< the highest predicted peak over the level; 1 if not flat
  std::int64_t peaks = 0;      ///< predicted peaks beyond the level
  std::int64_t all_peaks = 0;  ///< predicted peaks above half of the highest
  double highest = 0.0;        ///< predicted peak, magnitude in full scales
  double shortfall = 0.0;      ///< RMS of what is missing beyond the level, over the level
  double slope = 1.0;          ///< of the recording against the prediction beyond the level
};

/// Both rails, and how well the chain is known.
struct AddedClipping {
  AddedRail positive, negative;
  Hertz coupling{0.0};     ///< corner of the high-pass that was taken out of both
  double left = 1.0;       ///< share of what is missing beyond the levels that flat tops leave
  double residual = 0.0;   ///< RMS of recording minus prediction over RMS of the prediction, below
                           ///< any rail; 1 where nothing was predicted
  double departure = 0.0;  ///< as LargestDeparture has it
  /// What clipping the track by 1 dB in front of the chain would change in the recording: the
  /// largest sample, over the highest predicted one. A low-pass leaves little of it. 1 where there
  /// is none, or where a rail was found, which answers the question.
  double in_front = 1.0;
};

/// How far a recording is off the prediction where it is furthest, whatever was predicted there: a
/// peak that was cut in front of a filter leaves a pulse where the prediction need not be high.
class LargestDeparture {
 public:
  explicit LargestDeparture(Hertz rate);
  /// Samples that follow each other. \param predicted as many as recorded
  void add(std::span<const double> recorded, std::span<const double> predicted);
  /// The largest mean over 0.17 ms of recorded less predicted, over the highest predicted sample; 0
  /// before there is one. The first quarter of a second does not count: a track that is cut sharply
  /// where it begins is not predicted there, as a resampled sharp edge rings.
  [[nodiscard]] double read() const;
  /// Samples that do not count.
  [[nodiscard]] static std::size_t beginning(Hertz rate);

 private:
  std::vector<double> recent_;  // differences, in a ring
  std::size_t place_ = 0, first_;
  double sum_ = 0.0, largest_ = 0.0, highest_ = 0.0;
};

/// How long tops are that a rail leaves: those of bass are longer than what is kept of a highest
/// peak, which then overrules only where it leaves less.
enum class Tops { any, long_ones };

/// Gathers recorded samples by what was predicted for them.
///
/// A rail makes the curve of recorded against predicted follow the diagonal up to c and stay there:
/// c is the level at which the squares of min(v, c) − x add up to the least. What a coupling
/// capacitor behind the rail does to x is undone as in PeakShapes, and the same is done to v, for
/// several corners; that with the flattest tops is kept. It is a rail when the flat top explains
/// what lies beyond it ten times better in energy than the diagonal does, when what is missing is
/// four times the misfit below, and when the slope left is under a quarter (all three by trials;
/// a limiter's or a soft knee's slope is larger).
class PredictedPeaks {
 public:
  /// \param highest magnitude in the recording, full scales, > 0
  PredictedPeaks(Hertz rate, double highest, const Corners& corners);
  /// Samples that follow each other. \param predicted as many as recorded
  void add(std::span<const double> recorded, std::span<const double> predicted);
  /// \param cut rails by the highest peaks; they overrule where they explain these peaks
  [[nodiscard]] AddedClipping read(const CutPeaks& cut, Tops tops) const;

 private:
  struct Bin {
    double count = 0.0, x = 0.0, xx = 0.0, v = 0.0, vv = 0.0, xv = 0.0;
    std::int64_t peaks = 0;
    void add(const Bin& other);
  };
  static constexpr std::size_t bins = 1100;
  using Levels = std::vector<Bin>;
  struct View {
    CouplingInverse recorded, predicted;
    std::vector<double> recent;  // predicted samples, the last few in a ring
    std::array<Levels, 2> sides;
    std::array<double, 2> last_v{};  // predicted, the one before the last and the last
    double last_x = 0.0;             // recorded, the last
  };
  // A side, and the energy beyond the level: missing, and left when the flat top is taken out.
  struct RailFit {
    AddedRail rail;
    double missing = 0.0, left = 0.0;
  };
  [[nodiscard]] RailFit fit_rail(const View& view, std::size_t side) const;
  [[nodiscard]] const View* choose(AddedClipping& best) const;
  [[nodiscard]] static bool leaves_less(const AddedClipping& rails, const CutPeaks& cut);
  void take_over(const CutPeaks& cut, AddedClipping& rails) const;
  [[nodiscard]] bool explains(const CutSide& cut, const Levels& levels) const;
  void take_out_offset(const View& view, AddedClipping& rails) const;
  [[nodiscard]] double misfit_below(const View& view, const AddedClipping& rails) const;
  // Squares of recorded less predicted.
  [[nodiscard]] static double off_diagonal(const Bin& bin);
  // Squares of recorded less a level.
  [[nodiscard]] static double off_level(const Bin& bin, double level);
  [[nodiscard]] std::size_t knee_of(const Levels& levels) const;
  [[nodiscard]] std::optional<double> misfit_under(const Levels& levels, double knee) const;
  void count_peaks(const Levels& levels, AddedRail& rail) const;
  [[nodiscard]] double level_of(std::size_t bin) const;
  [[nodiscard]] std::size_t bin_of(double level) const;
  void enter(View& view, double before, double after) const;
  void note_peak(View& view, double predicted);

  Corners corners_;
  double highest_;
  std::size_t neighbours_;
  std::size_t place_ = 0;
  std::vector<View> views_;
};

}  // namespace railtap::measure
