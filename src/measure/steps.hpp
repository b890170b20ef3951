// SPDX-License-Identifier: MIT
// The level of a recording over time, and the stretches in which it is steady.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
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
  std::optional<Hertz> tone = {};  ///< of the loudest quarter of a second, where that holds one

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
  [[nodiscard]] LevelTrack finish();

 private:
  void take_frame();
  void take_stretch();

  LevelTrack track_;
  std::vector<double> frame_;              // being filled
  std::vector<double> stretch_, loudest_;  // a quarter of a second: being filled, and kept
  double loudest_energy_ = 0.0;
};

/// The smoothed level of a track: one value a frame, dB re a full-scale square wave (10·log10 of
/// the mean square, DC excluded).
///
/// Means over 50 ms, then the median of 11 of them: a click of up to 50 ms leaves no trace, a step
/// stays a step. A tone below 45 Hz ripples by up to 0.3 dB.
/// Silence is held at −140 dB.
[[nodiscard]] std::vector<double> smoothed_level(const LevelTrack& track);

/// The frames that a click, a drop-out or a knock falls into: their peak, or their level, is
/// out from the median of the 210 ms around them. True where so, one entry a frame.
[[nodiscard]] std::vector<bool> disturbed_frames(const LevelTrack& track);

/// A stretch of steady level. Positions in samples from the start of the recording.
struct Step {
  std::int64_t first = 0;  ///< where the level became steady
  std::int64_t end = 0;    ///< one past its last sample
  std::int64_t inner_first =
      0;  ///< the part to measure: edges and disturbances left out, 2 s at most
  std::int64_t inner_end = 0;
  double level_db = 0.0;  ///< median of the smoothed level (see `smoothed_level`)
  double rise_db = 0.0;   ///< of the level over the inner part of a slice; 0 where it is steady
  bool gliding = false;   ///< a slice of a level that moves without steps
  int index = 0;          ///< of a grid: which of its steps; else counted in order of time
};

/// Slope of a level by least squares, dB per frame. \param level of one frame after the other; 0 of
/// fewer than two
[[nodiscard]] double slope_of(std::span<const double> level);

/// Every stretch of 0.2 s or more in which the level is steady, in order of time: the steps of
/// a ladder, or those of a volume control turned by hand. A level that moves for half a second and
/// longer is cut into slices of 0.25 s. What is 80 dB below the loudest, or below −110 dB, is left
/// out; noise in pauses that is louder than that is not.
///
/// Changes are found where the mean levels of 80 ms before and after differ by more than 0.12 dB
/// and three times their scatter.
[[nodiscard]] std::vector<Step> find_plateaus(const LevelTrack& track);

/// Steps of one length, one after the other. Positions in samples.
struct Grid {
  double first = 0.0;  ///< start of step 0
  double dwell = 0.0;  ///< length of a step, > 0
  int steps = 0;
};

/// Whether clicks and drop-outs are left out of what is measured. In frames of 10 ms, cycles of a
/// tone below 50 Hz look like disturbances.
enum class Disturbances { left_out, measured };

/// The steps of a grid that lie in the recording. The first 15 % (at least 50 ms, at most 0.25 s)
/// and the last 30 ms of each are left out of its inner part: edges, and what a coupling needs to
/// settle. A step whose inner part does not lie in the recording is left out.
[[nodiscard]] std::vector<Step> cut_evenly(const LevelTrack& track, const Grid& grid,
                                           Disturbances disturbances = Disturbances::left_out);

/// A place that a step is known to take, in samples.
struct StepPlace {
  int index = 0;
  double first = 0.0, end = 0.0;
  double level_db = 0.0;
};

/// Steps at known places, of any length. Of one that is shorter than 0.33 s less is left out at its
/// ends: a fifth (15 to 50 ms) and an eighth (10 to 30 ms) of it. Clicks are left out of inner
/// parts of 0.2 s and longer. A place of which nothing is left gives no step.
[[nodiscard]] std::vector<Step> cut_at(const LevelTrack& track,
                                       const std::vector<StepPlace>& places);

}  // namespace railtap::measure
