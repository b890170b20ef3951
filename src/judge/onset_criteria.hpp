// SPDX-License-Identifier: MIT
// The three criteria by which a stage's onset is told: THD+N, flat tops, compression.
#pragma once

#include <optional>
#include <vector>

#include "judge/onset_points.hpp"
#include "units/quantity.hpp"

namespace railtap::judge::criteria {

/// Where THD+N reaches the limit (AES17-2015, 6.2.1 a). Of the law that the first step over the
/// limit gives, with the noise; where the law does not explain the step below, interpolated.
/// \param points by their axis; \param limit as a ratio, 0.01 for 1 %
[[nodiscard]] std::optional<Estimate> thdn_onset(const std::vector<Point>& points, double limit);

/// Where the sine would just touch the nearer rail, from the steps that are over it; of a knee,
/// where the gain at the crest passes a tenth. \param points by their axis
[[nodiscard]] std::optional<Estimate> flat_top_onset(const std::vector<Point>& points);

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
