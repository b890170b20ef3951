// SPDX-License-Identifier: MIT
// A tone that goes on while its level moves: automatic level control, a fade, a control that is
// turned.
#pragma once

#include <cstdint>
#include <optional>
#include <span>

#include "units/quantity.hpp"

namespace railtap::measure {

/// Stretches of half a second and more in which a tone keeps its frequency and moves in level.
struct MovingLevel {
  std::int64_t frames = 0;                   ///< samples in all such stretches
  std::int64_t first_frame = 0;              ///< of the first stretch
  std::int64_t end_frame = 0;                ///< of the last, one past it
  double up_db = 0.0, down_db = 0.0;         ///< all rises, all falls
  double lowest_db = 0.0, highest_db = 0.0;  ///< mean squares re full scale²
  Hertz frequency{0.0};                      ///< rough: from zero crossings
  int turns = 0;                             ///< how often it turned from rising to falling or back
};

/// Finds them among the frames of 0.1 s that ChannelMeter cuts.
class MovingLevelMeter {
 public:
  explicit MovingLevelMeter(Hertz rate) : rate_(rate) {}

  /// The next frame. \param level_db of its weighted mean square \param tonal its crest factor is a
  /// tone's \param peak half of its range
  void add(std::span<const double> frame, double level_db, bool tonal, double peak);
  /// Ends the stream.
  [[nodiscard]] MovingLevel finish();

 private:
  void end_stretch();

  // A stretch so far.
  struct Stretch {
    int frames = 0;
    std::int64_t first_frame = 0, samples = 0;
    double up_db = 0.0, down_db = 0.0, lowest_db = 0.0, highest_db = 0.0;
    double hz_sum = 0.0;
    double since_turn_db = 0.0;  // signed way since the last turn
    int turns = 0;
  };

  Hertz rate_;
  std::int64_t position_ = 0;
  int still_ = 0;                  // frames in a row without a change
  std::optional<double> last_db_;  // of the frame before, where it was tonal
  std::optional<double> last_hz_;
  Stretch open_;
  MovingLevel result_;
};

/// Frequency by the upward zero crossings of a run, those of noise left out by a hysteresis of a
/// fifth of the peak; none with fewer than two. Within 1 % for tones of 20 Hz and more in 0.1 s.
[[nodiscard]] std::optional<Hertz> frequency_by_crossings(std::span<const double> samples,
                                                          double peak, Hertz rate);

}  // namespace railtap::measure
