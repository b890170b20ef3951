// SPDX-License-Identifier: MIT
// Which filters a measured response shows.
#pragma once

#include <optional>
#include <vector>

#include "judge/filter_model.hpp"
#include "measure/swept_response.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// A response in words' terms.
struct ResponseFindings {
  Decibels level{0.0};           ///< recorded over played where no filter acts
  std::vector<Filter> filters;   ///< that change the band by 0.5 dB or more; strongest first
  std::vector<Filter> coupling;  ///< first-order high-passes under 12 Hz: capacitors, not switches
  Decibels misfit{0.0};  ///< largest departure of the points from the filters' sum, beyond noise
  Hertz misfit_at{0.0};
  /// Where the response has fallen 3 dB below `level`; none where it has not within the sweep.
  std::optional<Hertz> low_3db, high_3db;
  Decibels highest{0.0}, lowest{0.0};  ///< of the points re `level`, from low_3db to high_3db
};

/// Fits high-pass and low-pass (order 1 to 4 Butterworth, 2 and 4 Linkwitz-Riley), one peaking
/// equaliser and a shelf at each end to the magnitudes, by damped least squares weighted with the
/// points' uncertainty. A filter is added while it makes the fit clearly better; families and
/// orders are then exchanged until none is better. \param least_points with fewer, nothing is
/// returned \returns nothing where fewer points than that are within 45 dB of the highest
[[nodiscard]] std::optional<ResponseFindings> recognise_filters(
    const std::vector<measure::ResponsePoint>& points, std::size_t least_points = 12);

}  // namespace railtap::judge
