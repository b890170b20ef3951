// SPDX-License-Identifier: MIT
// Where in a recording a track was played: by the phase of cross-spectra, at a low sampling rate.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "measure/linear_chain.hpp"

namespace railtap::measure {

/// A place of the track on the recording, found at the low rate.
struct FoundTrack {
  TrackPlace place;
  double likeness = 0.0;  ///< mean of the correlation peaks, 0 … 1; 1 for the same signal
};

/// Where it is looked for: 60 to 2400 Hz, or 20 to 200 Hz.
enum class SearchedBand { whole, bass };

/// Looks for the track in one channel of a recording, once for each side of the track.
///
/// Up to five pieces of 5.5 s, evenly spread over the recording, are correlated with the whole
/// track, with the amplitudes of the cross-spectrum made equal, so that repeated bass does not hide
/// the place [C. Knapp, G. Carter, IEEE Trans. ASSP 24 (1976), pp. 320-327: the phase transform].
/// Of the places that a piece may have, that is taken which agrees with those of the others within
/// 500 ppm; a line through them gives the ratio of the clocks.
/// \param frames length of the recording
/// \returns up to three places for each side of the track, the likeliest first; empty where it was
/// not found
[[nodiscard]] std::vector<FoundTrack> find_track(const OpenStream& recording, std::size_t channel,
                                                 std::int64_t frames, const OpenStream& track,
                                                 SearchedBand searched = SearchedBand::whole);

}  // namespace railtap::measure
