// SPDX-License-Identifier: MIT
// The three criteria by which a stage's onset is found, and what they work with: steps as points,
// interpolation between them, the law of one step.
#pragma once

#include <algorithm>
#include <cstddef>
#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "judge/analysis.hpp"
#include "measure/clipped_sine.hpp"
#include "measure/known_steps.hpp"
#include "measure/static_law.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// Piecewise cubic through points, monotone where the points are: slopes by the weighted harmonic
/// mean of the neighbouring secants [Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984),
/// p. 300; from memory]. \param x rising strictly, two points or more; \param at is held within x
[[nodiscard]] double monotone_cubic(std::span<const double> x, std::span<const double> y,
                                    double at);

/// Where a function that is < 0 at `low` and >= 0 at `high` changes sign, to 1e-9 of the distance.
[[nodiscard]] double bisect(const std::function<double(double)>& f, double low, double high);

}  // namespace railtap::judge

namespace railtap::judge::criteria {

/// Fewest steps of different level that are judged.
inline constexpr std::size_t least_steps = 3;

/// The chain's own curvature moves the best of fits by about this much, dB (seen in trials with
/// clean chains).
inline constexpr double least_uncertainty_db = 0.002;

/// A step that holds a tone.
struct Point {
  int index = 0;                                           ///< of the step, from 1
  std::optional<double> input;                             ///< dB: dBFS, or re the first step
  double level = 0.0;                                      ///< dBFS of fundamental and harmonics
  double fundamental = 0.0, harmonics = 0.0, noise = 0.0;  ///< mean squares
  double own_noise = 0.0;       ///< mean square; `noise` may be that of softer steps
  double level_sigma = 0.0;     ///< dB
  double rise_db = 0.0;         ///< of the fundamental over the step; 0: it rests
  double moved_db = 0.0;        ///< by how much the input moves over the step, about
  bool rounded_corner = false;  ///< the movement makes a corner look like a knee
  std::size_t orders = 1;       ///< in the band
  const measure::HarmonicSeries* series = nullptr;  ///< of the step, which must outlive this
  const measure::ClippedSineFit* clip = nullptr;    ///< none where nothing was fitted
  Verdict verdict = Verdict::clean;
  [[nodiscard]] double thdn_squared() const {
    return (harmonics + noise) / (fundamental + harmonics + noise);
  }
};

/// A level found by one way of working.
struct Estimate {
  std::optional<double> input;  ///< dB, as Point::input
  double level = 0.0;           ///< dBFS
  double sigma = 0.0;           ///< standard uncertainty, dB
};

/// dBFS of a mean square in full scales.
[[nodiscard]] double level_db(double mean_square);

/// What steps are ordered by and interpolated on: the input, or the level where there is none.
[[nodiscard]] double axis(const Point& point);

/// The point of a step that holds a tone.
[[nodiscard]] Point point_of(const measure::MeasuredStep& measured, Verdict verdict,
                             Hertz band_high);

/// What the movement of the level over a step leaves uncertain in what is read off it, dB.
[[nodiscard]] double movement_sigma(const Point& point);

/// Values over the axis, for interpolation.
struct Curve {
  std::vector<double> x, y;
};

/// A value of the points around the one that is `below` the place looked for: two before it and
/// three after it. Points at the same place count once.
template <class Value>
Curve curve_around(const std::vector<Point>& points, std::size_t below, Value value) {
  const std::size_t first = below >= 2 ? below - 2 : 0;
  const std::size_t end = std::min(points.size(), below + 4);
  Curve curve;
  for (std::size_t i = first; i < end; ++i) {
    if (!curve.x.empty() && axis(points[i]) - curve.x.back() < 1e-6) continue;
    curve.x.push_back(axis(points[i]));
    curve.y.push_back(value(points[i]));
  }
  return curve;
}

/// The level at a place on the axis between the points `below` and the next.
[[nodiscard]] Estimate at_axis(const std::vector<Point>& points, std::size_t below, double x);

/// Whether the fit explains the step by a knee.
[[nodiscard]] bool is_knee(const Point& point);

/// How far a fitted knee lets the sine rise from where the gain at its crest is a half to where it
/// is a tenth, dB.
[[nodiscard]] double width_db(const measure::ClippedSineFit& fit);

/// Whether rails cut the sine with corners, so that they can be followed down.
[[nodiscard]] bool is_corner(const Point& point);

/// The law of a step; none where its harmonics are not those of a law without memory.
[[nodiscard]] std::optional<measure::StaticLaw> law_of(const Point& point);

/// The ratio in (low, 1) at which `excess` passes 0 from below; none where it does not.
[[nodiscard]] std::optional<double> crossing(const std::function<double(double)>& excess,
                                             double low);

/// Change of a function of the ratio for each decibel.
[[nodiscard]] double slope_per_db(const std::function<double(double)>& f, double ratio);

/// The ratio at which a law gives an output of `level` dBFS.
[[nodiscard]] std::optional<double> ratio_at(const measure::StaticLaw& law, std::size_t orders,
                                             double level);

/// Input and level of a law's step when its input is turned down to `ratio`.
[[nodiscard]] Estimate at_ratio(const measure::StaticLaw& law, const Point& above, double ratio);

/// Estimates of two steps that differ by more than this, dB, come from rails that move with the
/// level.
inline constexpr double drift_db = 0.01;

/// Joins the estimates of the lowest step over the limit and of the one above it. Where they drift,
/// the line through both is followed to where it meets itself.
/// \param distance_db from the first step to the second; \param over_db of the first step over its
/// own estimate
[[nodiscard]] Estimate join(const Estimate& first, const Estimate& second, double distance_db,
                            double over_db);

/// Where THD+N reaches the limit (AES17-2015, 6.2.1 a). Of the law that the first step over the
/// limit gives, with the noise; where the law does not explain the step below, interpolated.
/// \param points by their axis; \param limit as a ratio, 0.01 for 1 %
[[nodiscard]] std::optional<Estimate> thdn_onset(const std::vector<Point>& points, double limit);

/// Where the sine would just touch the nearer rail, from the steps that are over it; of a knee,
/// where the gain at the crest passes a tenth. \param points by their axis
[[nodiscard]] std::optional<Estimate> flat_top_onset(const std::vector<Point>& points);

/// Where the recording input's own limit is just touched: from the flat tops of the steps that are
/// over it; where something else is flat before, or the tops say nothing, between the last step
/// below it and the first above. \param points by their axis, those over it included
/// \returns none where no step is over it, or where all are and do not tell
[[nodiscard]] std::optional<Estimate> input_onset(const std::vector<Point>& points);

/// The gain at the crest, re that of vanishing input, below which a top is called flat.
inline constexpr double flat_gain = 0.1;

/// Where the gain at the crest passes `flat_gain` on the way up, whatever the knee's shape: from
/// how much higher the tops get from step to step, which is the mean of that gain over the step.
/// \param points by their axis
/// \returns none where it is passed within the first step or never, or where the steps are not
/// those of one law without memory
[[nodiscard]] std::optional<Estimate> knee_onset(const std::vector<Point>& points);

/// A gain and what is uncertain in it, dB.
struct Gain {
  double db = 0.0;
  double sigma = 0.0;
};

/// The gain of vanishing input. A knee that is soft falls off from the softest step on, like a
/// power of the input (the lowest that its law has); a hard one does not, and a high power fits.
/// \param limit_db steps that have lost more than this against the softest are left out
[[nodiscard]] std::optional<Gain> small_signal_gain(const std::vector<Point>& points,
                                                    double limit_db);

/// Where the gain is `limit_db` below that of vanishing input (AES17-2015, 6.2.1 b).
[[nodiscard]] std::optional<Estimate> compression_onset(const std::vector<Point>& points,
                                                        const Gain& gain, double limit_db);

/// The same without input levels, where a limiter cannot be seen, but what a law loses can.
[[nodiscard]] std::optional<Estimate> compression_of_law(const std::vector<Point>& points,
                                                         double limit_db);

/// The gain of a step is known to this, dB: the chain's own drift.
inline constexpr double gain_known_to_db = 0.004;

}  // namespace railtap::judge::criteria
