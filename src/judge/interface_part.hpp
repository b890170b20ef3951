// SPDX-License-Identifier: MIT
// A response between its points, and the recording interface's own taken out of one.
#pragma once

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

#include "electric/sound_interface.hpp"
#include "measure/swept_response.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// Magnitude and phase at a frequency.
struct Response {
  Decibels magnitude{0.0};
  double phase_deg = 0.0;
};

/// A response at any frequency: between two points in the logarithm of frequency, the phase by the
/// shorter way round; the nearest point's beyond the ends.
/// \param points not empty, rising in frequency; what has `frequency`, `magnitude`, `phase_deg`
template <class Point>
[[nodiscard]] Response between(const std::vector<Point>& points, Hertz frequency) {
  constexpr double turn = 360.0;
  const auto after = std::lower_bound(points.begin(), points.end(), frequency,
                                      [](const Point& p, Hertz hz) { return p.frequency < hz; });
  if (after == points.begin()) return {after->magnitude, after->phase_deg};
  if (after == points.end()) return {points.back().magnitude, points.back().phase_deg};
  const auto before = after - 1;
  const double share =
      std::log(frequency / before->frequency) / std::log(after->frequency / before->frequency);
  const double rise_deg = std::remainder(after->phase_deg - before->phase_deg, turn);
  return {before->magnitude + (after->magnitude - before->magnitude) * share,
          before->phase_deg + rise_deg * share};
}

/// Takes an interface's response re 1 kHz out of points. Its gain at 1 kHz stays: calibration has
/// that. \param interface null, or without a response: nothing is taken out
/// \returns what was taken out where it was largest; none where nothing was
[[nodiscard]] std::optional<measure::ResponsePoint> take_out(
    const electric::SoundInterface* interface, std::vector<measure::ResponsePoint>& points);

}  // namespace railtap::judge
