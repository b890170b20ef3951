// SPDX-License-Identifier: MIT
// The recording interface by itself: judged from a loopback, and taken out of other responses.
#pragma once

#include <algorithm>
#include <cmath>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "electric/calibration.hpp"
#include "judge/analysis.hpp"
#include "measure/swept_response.hpp"
#include "measure/tone.hpp"
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

/// Finds the parts of the kit's track `loopback` by their markers (a steady tone, silence, a sweep)
/// and measures each. Device and date are left empty.
/// \param samples one channel, full scale ±1
/// \param code_step distance of two codes in full scales, for PCM
/// \throws Error where a part is missing, or the tone is clipped or overloads the input
[[nodiscard]] electric::SoundInterface judge_loopback(std::span<const double> samples, Hertz rate,
                                                      std::optional<double> code_step,
                                                      const std::string& place);

/// Which figures may be the interface's own.
struct NotAbove {
  bool thdn = false, noise = false, noise_a = false;
};

/// A figure is above the interface's own where it exceeds it by more than `own_spread`.
[[nodiscard]] NotAbove not_above(const Findings& findings,
                                 const electric::SoundInterface& interface);

/// How much noise figures vary from one measurement to the next: one decibel, as of a second of
/// noise in a narrow band (from memory: 4.34 dB over the root of bandwidth times time, with room).
inline constexpr Decibels own_spread{1.0};

}  // namespace railtap::judge
