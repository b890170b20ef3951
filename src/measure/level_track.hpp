// SPDX-License-Identifier: MIT
// How the level of a recording goes over time, in frames of 10 ms: small enough to keep for hours.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <utility>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::measure {

/// One frame of the track, in full scales. Floats: a track is only used to find where things are.
struct TrackFrame {
  float mean = 0.0F;
  float mean_square = 0.0F;
  float lowest = 0.0F;
  float highest = 0.0F;
};

/// The track of one channel; 1.6 kB a second.
struct LevelTrack {
  Hertz rate{0.0};                ///< of the samples
  std::int64_t frame_length = 1;  ///< samples a frame
  std::int64_t samples = 0;       ///< of the whole recording; the last part of a frame has no frame
  std::vector<TrackFrame> frames;

  [[nodiscard]] double frame_seconds() const {
    return static_cast<double>(frame_length) / rate.value();
  }
};

/// Gathers the track of one channel as it streams by. Non-finite samples count as 0.
class LevelTracker {
 public:
  explicit LevelTracker(Hertz rate);

  /// \param first the channel's first sample; \param stride distance of its samples; \param count
  /// how many
  void add(const double* first, std::size_t stride, std::size_t count);
  [[nodiscard]] LevelTrack finish() { return std::move(track_); }

 private:
  void take_frame();

  LevelTrack track_;
  std::vector<double> frame_;  // being filled
};

/// The smoothed level of a track: one value a frame, dB re a full-scale square wave (10·log10 of
/// the mean square, DC excluded).
///
/// Means over 50 ms, then the median of 11 of them: a click of up to 50 ms leaves no trace, a step
/// stays a step. A tone below 45 Hz ripples by up to 0.3 dB.
/// Silence is held at −140 dB.
[[nodiscard]] std::vector<double> smoothed_level(const LevelTrack& track);

/// The frames that a click, a drop-out or a knock falls into: their peak, or their level, stands
/// out from the median of the 210 ms around them. True where so, one entry a frame.
[[nodiscard]] std::vector<bool> disturbed_frames(const LevelTrack& track);

}  // namespace railtap::measure
