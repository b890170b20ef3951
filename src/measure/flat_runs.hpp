// SPDX-License-Identifier: MIT
// Flat tops as samples show them: runs at exactly the highest or lowest value, and how many of a
// programme's highest peaks are flat.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "measure/frame.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

// Runs of samples at exactly the highest or lowest value: how a converter that overloads, or a file
// that was clipped as numbers, gives itself away.

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

// Peaks of music and speech, one rail at a time: how many of the highest are flat, and at which
// level.

/// What the peaks towards one rail look like.
struct FlatPeaks {
  /// −log10 of the greatest chance that so many of the highest peaks are flat, when high peaks are
  /// flat as often as low ones.
  double evidence = 0.0;
  std::int64_t flat = 0;    ///< peaks that are flat, of those below
  std::int64_t near = 0;    ///< peaks that reach as high as the flat ones
  std::int64_t high = 0;    ///< peaks long enough to judge above 85 % of the highest
  std::int64_t judged = 0;  ///< peaks above half of the highest that are long enough to judge
  std::int64_t all = 0;     ///< all peaks above half of the highest
  double highest = 0.0;     ///< highest sample towards this rail, magnitude in full scales
  double level = 0.0;       ///< mean of the flat tops, magnitude in full scales; 0 if none
  double spread = 0.0;      ///< their standard deviation over the level
  double above = 0.0;       ///< share of `near` that lies more than 3 % above the level
  Hertz coupling{0.0};      ///< corner of the high-pass that was taken out to see them so
  double depth = 0.0;       ///< a top is flat within this share of its level
  Seconds total{0.0};       ///< length of all flat tops together
  Seconds longest{0.0};     ///< the longest of them
};

/// Looks at every peak of one channel of a programme.
///
/// A rail cuts each peak that would exceed it, so what is left has straight tops with a corner at
/// either end, all at one level. A peak that nothing cut is round: of the time that it spends
/// within 5·d of its top, it spends √(1/5) within d. Limiters scale a peak and soft clippers bend
/// it, and both leave it round on some scale (derived; measured in the trials). A peak counts as
/// flat where the ratio of these times exceeds 0.8, with both flanks steep.
///
/// A coupling capacitor behind the rail tilts the tops and shifts their level with the bass. The
/// inverse of a first-order high-pass, x = y + ω·∫y, undoes both; its corner is not known, so
/// several are tried, and the one with the most evidence is kept. So are several distances d: the
/// smallest sees the most, noise permitting.
///
/// How often peaks are flat by nature is taken from the lower peaks of the same programme. The
/// chance that k of the n highest are flat at that rate p is at most exp(−n·D(k/n‖p)), D the
/// relative entropy [H. Chernoff, Ann. Math. Statist. 23 (1952), pp. 493-507].
class PeakShapes {
 public:
  static constexpr std::size_t couplings = 6, depths = 4;

  /// \param lowest, highest extremes of the whole channel, full scales, from a first pass
  PeakShapes(Hertz rate, double lowest, double highest);

  /// \param first the channel's first sample; \param stride distance of its samples; \param count
  /// how many. Finite numbers.
  void add(const double* first, std::size_t stride, std::size_t count);

  [[nodiscard]] FlatPeaks positive() const { return sides_[0].read(rate_); }
  [[nodiscard]] FlatPeaks negative() const { return sides_[1].read(rate_); }

 private:
  // Peaks of one level, seen in one way.
  struct Bin {
    std::uint32_t peaks = 0, flat = 0;
    float flat_samples = 0.0F, longest = 0.0F;
  };
  static constexpr std::size_t bins = 420;
  using Levels = std::array<Bin, bins>;

  // One rail.
  struct Side {
    double sign = 1.0;
    double highest = 0.0;          // magnitude
    std::int64_t all = 0;          // above half of it
    std::vector<Levels> views;     // couplings × depths
    std::vector<double> last_end;  // of the last peak in each view
    [[nodiscard]] FlatPeaks read(Hertz rate) const;
    [[nodiscard]] FlatPeaks read_view(std::size_t view, Hertz rate) const;
    void measure_tops(const Levels& levels, std::size_t lowest, Hertz rate,
                      FlatPeaks& result) const;
  };

  // How far a peak reaches to either side, in samples, before it has fallen by each depth.
  static constexpr std::size_t falls = 2 * depths;
  struct Reach {
    std::array<double, falls> left{}, right{};
  };

  [[nodiscard]] static std::optional<std::size_t> top_bin(const Levels& levels);
  [[nodiscard]] static double rate_by_nature(const Levels& levels, std::size_t top);
  static std::size_t gather_evidence(const Levels& levels, std::size_t top, FlatPeaks& result);

  [[nodiscard]] bool is_peak(const Side& side, std::size_t centre) const;
  void look(Side& side, std::size_t centre);
  [[nodiscard]] double sample_at(const Side& side, std::size_t centre, std::ptrdiff_t offset) const;
  [[nodiscard]] double top_of(const Side& side, std::size_t centre, double omega) const;
  [[nodiscard]] std::array<double, falls> follow(const Side& side, std::size_t centre, double omega,
                                                 std::ptrdiff_t direction, double top,
                                                 const std::array<double, falls>& thresholds) const;
  [[nodiscard]] Reach reach(const Side& side, std::size_t centre, double omega) const;
  void enter(Side& side, std::size_t view, std::size_t centre, const Reach& reach, double level);
  void step_couplings(double sample);
  void take_buffered();

  Hertz rate_;
  std::size_t half_window_;                   // samples to each side that a peak is followed
  std::size_t neighbours_;                    // to each side that a peak exceeds
  double shortest_;                           // samples; a shorter top is not judged
  std::array<double, couplings> omega_{};     // radians per sample
  std::array<double, couplings> integral_{};  // ω·∫y up to the sample that is looked at
  std::array<Side, 2> sides_;
  std::vector<double> buffer_;        // half a window of past, then what is new
  std::int64_t first_in_buffer_ = 0;  // its place in the channel
  std::size_t next_ = 0;              // in the buffer: the next sample to be looked at
};

}  // namespace railtap::measure
