// SPDX-License-Identifier: MIT
// What is special about steps of a level that a hand turns: it has a way, and it moves while it is
// measured.
#pragma once

#include <optional>
#include <vector>

#include "judge/onset_criteria.hpp"
#include "measure/known_steps.hpp"

namespace railtap::judge {

enum class Way { up, down };

/// Less than this is the scatter of what is measured: the level rests, dB.
inline constexpr double least_move_db = 0.05;

/// The way at each step, in order of time: of a slice over which the level moves, its own; of a
/// rest, that on which it was reached; of the first steps, that on which they are left. Steps
/// without a tone go on as before.
[[nodiscard]] std::vector<Way> ways_of(const std::vector<measure::MeasuredStep>& steps);

namespace criteria {

/// A fitted knee that is no wider, dB, is a corner that something has rounded; the movement of a
/// level that is turned by hand does.
[[nodiscard]] double widest_corner_db(const Point& point);

/// Gives each step over which the level moves the least noise of itself and of the three softer
/// ones: what its envelopes leave of a corner that is passed within the step is no noise.
/// \param points by their axis
void settle_noise(std::vector<Point>& points);

/// Of a level that is turned: where most of the lowest steps over a rail have corners, or knees
/// that are no wider than the movement makes them, all slices over a rail are marked as rounded
/// corners, those whose few harmonics would leave it open too.
/// \param points by their axis
void settle_corners(std::vector<Point>& points);

/// The steps that another sound, or a crackle or a drop-out of the control disturbs: those that
/// leave far more noise than what lies around them in level, and enough of it to count; where the
/// input is known, more than both the softer and the louder steps.
/// \param points by their axis; \param limit of THD+N, as a ratio
/// \returns their indices
[[nodiscard]] std::vector<int> disturbed_steps(const std::vector<Point>& points, double limit);

/// How far the noise falls, dB, from the first third of the steps to the last, where it does and
/// the level rises: something turns the gain down. A stage's own noise stays, or rises with the
/// level. \param points of the way up, without those that are disturbed
[[nodiscard]] std::optional<double> noise_fall(std::vector<Point> points);

/// How much flatter the tops get, dB of overdrive, from the first third of the steps over a rail to
/// the last, while the level stays: something behind the stage holds it. A rail that stays where
/// it is lets the level rise, to 2.1 dB over it for a square wave (4/π, closed form). None where
/// the level follows, or where it would hardly have to. \param points of a level that is turned by
/// hand
[[nodiscard]] std::optional<double> flatter_at_one_level(const std::vector<Point>& points);

/// How far the level moves, dB, while the tops stay flat by the same share: the control that is
/// turned is behind the stage that clips. None where the overdrive follows the level, as it does
/// in front of that stage. \param points of a level that is turned by hand
[[nodiscard]] std::optional<double> moved_behind(const std::vector<Point>& points);

/// What is found of the one law that explains all steps of a level that is turned by hand; none
/// where a criterion is not met by the loudest of them.
struct SharedLawOnset {
  std::optional<Estimate> thdn, flat_top, compression;
  bool other_shape = false;   ///< it leaves more than noise: the knee may be of another shape
  bool still_rising = false;  ///< the tops of the loudest step are far from flat
};

/// Where the criteria are met by one law. \param points by their axis
/// \param thdn_limit as a ratio, 0.01 for 1 %
/// \returns none where no one law explains the points: the stage has a memory, a supply sags, a
/// limiter holds the level
[[nodiscard]] std::optional<SharedLawOnset> shared_law_onset(const std::vector<Point>& points,
                                                             double thdn_limit,
                                                             double compression_db);

}  // namespace criteria

}  // namespace railtap::judge
