// SPDX-License-Identifier: MIT
// A tone whose level moves: its least-squares fit, in which each harmonic has an envelope of its
// own; what moves it: automatic level control, a fade, a control that is turned; and what its pitch
// does: a speed that wavers, a sweep, a second tone close beside it.
#pragma once

#include <complex>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::measure {

// Least-squares fit of a tone whose level moves: each harmonic has an envelope of its own.

/// A tone as it is in the middle of a block, in full scales. There it is
/// dc + Re(Σ_k phasor[k−1]·e^{j·k·ω·t}), t = 0 in the middle.
struct MovingTone {
  double cycles_per_sample = 0.0;  ///< fundamental over the sampling rate, 0 … 0.5
  std::size_t degree = 0;          ///< of the envelopes: 2, or less in a block of few cycles
  double dc = 0.0;
  std::vector<std::complex<double>> phasor;  ///< order k at index k−1, peak amplitude
  double rise_db = 0.0;                      ///< of the fundamental from end to end of the block
  /// Share of the residual's freedom that is left among the harmonics: the envelopes take the rest.
  double freedom = 1.0;
  /// Variance of one component of a phasor over that of a steady tone's, 2σ²/N.
  double variance_factor = 1.0;
};

/// Fits moving tones to blocks. Harmonic k is Re((a + b·u + c·u²)·e^{j·k·ω·t}) with complex a, b, c
/// and u = −1 … 1 along the block, dc likewise. So nothing is assumed about where the control that
/// is turned acts: in front of a stage that clips, where harmonics come and go with the level, or
/// behind it, where all move together. What the level's movement does not explain is residual.
///
/// What is read for the middle of the block is right to the third order of the movement. At a hard
/// corner, where harmonics come up out of nothing, a block over which the level moves by 1.6 dB has
/// its distortion within 0.04 % where that is 1 % (tests/measure/moving_tone_test.cpp).
///
/// One object per thread; it keeps its working memory.
class MovingToneFitter {
 public:
  /// \param samples two cycles or more; from four on the envelopes are of degree 2
  /// \param cycles_per_sample as a steady fit gives it: a movement of the level does not pull it
  /// \param orders >= 1, and orders·cycles_per_sample < 0.5
  void fit(std::span<const double> samples, double cycles_per_sample, std::size_t orders,
           MovingTone& tone);

  /// residual[n] = samples[n] − model of the last fit to the same samples; sizes equal.
  void residual(std::span<const double> samples, std::span<double> residual);

 private:
  enum class Part { even, odd };  // about the middle of the block
  struct Column {
    bool sine;
    std::size_t order;  // 0: dc
    std::size_t power;  // of u
  };
  // One half of the normal equations: columns that are even about the middle, or odd.
  struct Half {
    std::vector<Column> columns;
    std::vector<double> matrix, solution;
  };

  void fold(std::span<const double> samples);
  void set_columns(std::size_t orders, std::size_t degree);
  void take_moments(std::size_t orders, std::size_t degree);
  void project(Part part);
  void solve(Part part);
  [[nodiscard]] double product(const Column& a, const Column& b) const;
  [[nodiscard]] double coefficient(const Column& wanted) const;
  [[nodiscard]] double u_of(std::size_t n) const;
  void start_order(std::size_t order);
  void model_half(Part part, std::vector<double>& sum);

  Half even_half_, odd_half_;
  double cycles_per_sample_ = 0.0;
  std::size_t samples_ = 0;
  double first_t_ = 0.5;            // of element 0 of what is folded; 1 where a sample is at t = 0
  double centre_ = 0.0;             // that sample
  std::vector<double> even_, odd_;  // x(t) + x(−t), x(t) − x(−t)
  std::vector<double> u_;           // t over half the length
  std::vector<double> base_re_, base_im_, turn_re_, turn_im_;  // e^{jωt}, and its present power
  // Σ over the block of u^m·cos(kωt), m even, and of u^m·sin(kωt), m odd: moments_[m][k].
  std::vector<std::vector<double>> moments_;
  std::vector<double> model_even_, model_odd_;
};

// A tone that goes on while its level moves: automatic level control, a fade, a control that is
// turned.

/// Stretches of half a second and more in which a tone keeps its frequency and moves in level.
struct MovingLevel {
  std::int64_t frames = 0;                   ///< samples in all such stretches
  std::int64_t first_frame = 0;              ///< of the first stretch
  std::int64_t end_frame = 0;                ///< of the last, one past it
  double up_db = 0.0, down_db = 0.0;         ///< all rises, all falls
  double lowest_db = 0.0, highest_db = 0.0;  ///< mean squares re full scale²
  Hertz frequency{0.0};                      ///< rough: from zero crossings
  int turns = 0;                             ///< how often it turned from rising to falling or back
};

/// Finds them among the frames of 0.1 s that ChannelMeter cuts.
class MovingLevelMeter {
 public:
  explicit MovingLevelMeter(Hertz rate) : rate_(rate) {}

  /// The next frame. \param level_db of its weighted mean square \param tonal its crest factor is a
  /// tone's \param peak half of its range
  void add(std::span<const double> frame, double level_db, bool tonal, double peak);
  /// Ends the stream.
  [[nodiscard]] MovingLevel finish();

 private:
  void end_stretch();

  // A stretch so far.
  struct Stretch {
    int frames = 0;
    std::int64_t first_frame = 0, samples = 0;
    double up_db = 0.0, down_db = 0.0, lowest_db = 0.0, highest_db = 0.0;
    double hz_sum = 0.0;
    double since_turn_db = 0.0;  // signed way since the last turn
    int turns = 0;
  };

  Hertz rate_;
  std::int64_t position_ = 0;
  int still_ = 0;                  // frames in a row without a change
  std::optional<double> last_db_;  // of the frame before, where it was tonal
  std::optional<double> last_hz_;
  Stretch open_;
  MovingLevel result_;
};

// What a tone's pitch does, and its level with it.

/// The longest stretch over which a tone was followed. What is relative is so to the mean.
struct FollowedTone {
  std::int64_t frames = 0;  ///< samples in it; 0: no tone was followed
  Hertz frequency{0.0};     ///< mean
  Hertz first{0.0}, last{0.0};
  double speed = 0.0;      ///< standard deviation of the frequency, relative
  int turns = 0;           ///< how often it turned from rising to falling or back
  double amplitude = 0.0;  ///< standard deviation of the amplitude, relative
  double phase = 0.0;      ///< that of the phase from a steady tone's, rad
  /// Regression of the frequency on the relative amplitude, and how many times its own standard
  /// deviation it is.
  Hertz pull{0.0};
  double pull_significance = 0.0;
};

/// A single tone close beside the one that was followed: both beat. Amplitude a·cos Δt and phase
/// a·sin Δt are equal then, and the frequency moves by Δ times the amplitude (derived).
struct BesideTone {
  Hertz frequency{0.0};
  double amplitude = 0.0;  ///< relative
};
/// None where level and phase do not move so.
[[nodiscard]] std::optional<BesideTone> tone_beside(const FollowedTone& tone);

/// How often a second the speed wavers; where it does.
[[nodiscard]] Hertz wavering_rate(const FollowedTone& tone);

/// Follows a tone by its upward zero crossings, over slices of whole cycles, 25 ms or one cycle
/// long. Frequency right within 1e-5 for 1 kHz, 1e-4 for 50 Hz, at 60 dB signal to noise; what
/// wavers faster than 10 Hz is averaged out. Does not: follow what is no single tone, or moves by
/// more than 5 % or 1 dB from slice to slice.
class ToneFollower {
 public:
  explicit ToneFollower(Hertz rate) : rate_(rate) {}

  /// The next samples. \param peak half of their range
  void add(std::span<const double> samples, double peak);
  /// As many samples, in which no tone is followed.
  void skip(std::size_t count);
  /// Ends the stream.
  [[nodiscard]] FollowedTone finish();

 private:
  // Sums over the slices of a stretch; frequency u and amplitude l re the first slice's, phase p in
  // cycles from a tone of that frequency, t in s.
  struct Stretch {
    int slices = 0;
    double start = 0.0, end = 0.0;  // samples
    double first_hz = 0.0, last_hz = 0.0, first_level = 0.0, last_level = 0.0;
    double cycles = 0.0;
    double u = 0.0, uu = 0.0, l = 0.0, ll = 0.0, ul = 0.0;
    double t = 0.0, tt = 0.0, p = 0.0, pp = 0.0, tp = 0.0;
    double low = 0.0, high = 0.0;  // of u
    double low_since_turn = 0.0, high_since_turn = 0.0;
    int direction = 0, turns = 0;
  };

  void cross(double at);
  void take_slice(double at);
  void take_turn(double u);
  void end_stretch();

  Hertz rate_;
  std::int64_t position_ = 0;
  bool armed_ = false;
  double before_ = 0.0;               // the last sample
  std::optional<double> slice_from_;  // its first crossing
  int slice_cycles_ = 0;
  double slice_squares_ = 0.0;
  Stretch open_;
  FollowedTone result_;
};

/// Frequency by the upward zero crossings of a run, those of noise left out by a hysteresis of a
/// fifth of the peak; none with fewer than two. Within 1 % for tones of 20 Hz and more in 0.1 s.
[[nodiscard]] std::optional<Hertz> frequency_by_crossings(std::span<const double> samples,
                                                          double peak, Hertz rate);

}  // namespace railtap::measure
