// SPDX-License-Identifier: MIT
// A recording of music against the track that was played: where it lies, what the chain did to it
// as a linear system, and what it cut off.
#pragma once

#include <cstdint>
#include <optional>

#include "measure/added_clipping.hpp"
#include "measure/linear_chain.hpp"

namespace railtap::measure {

/// What a recorded channel has in common with the track, and what not.
struct PlayedMeasurement {
  PlayedSide side = PlayedSide::sum;
  bool sides_alike = false;  ///< the track's sides explain it equally well
  /// From the recording's start to the track's; may be negative. Behind a low-pass for bass, to
  /// where its response has risen: up to 4 ms later.
  Seconds delay{0.0};
  double clock_ratio = 1.0;  ///< seconds of the track, by its rate, per second of the recording
  double gain = 0.0;         ///< recorded over played RMS, of what the chain passes
  bool inverted = false;
  Seconds compared{0.0};  ///< length that both have
  AddedClipping clipping;
};

/// Measures one channel. The recording is read about ten times, of clipped bass about thirty
/// times, the track as often, at constant memory.
///
/// Place and clock: find_track, then delays of pieces of a third of a second by the same
/// correlation, with a robust line through them; once more against what the chain would have made
/// of the track, as a tone control delays bass and treble differently. Behind a low-pass: the place
/// by bass alone, and the clocks by least squares together with the chain. The chain: least squares
/// on samples spread over the recording (ResponseBasis), at first on those below 0.6 of the
/// highest, then on those whose prediction is, so that a rail does not take part.
///
/// \param frames  of the recording; \param highest magnitude in its channel, full scales, > 0
///
/// \returns none where the track is not found in it
[[nodiscard]] std::optional<PlayedMeasurement> measure_played(const OpenStream& recording,
                                                              std::size_t channel,
                                                              std::int64_t frames, double highest,
                                                              const OpenStream& track);

}  // namespace railtap::measure
