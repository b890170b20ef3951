// SPDX-License-Identifier: MIT
// The player in the head unit: a track as a smooth voltage, at any rate that is asked for.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "audio/stream.hpp"
#include "rig/resample.hpp"
#include "units/quantity.hpp"

namespace railtap::rig {

/// Left and right of a track, with idling before and after. A track of one channel is played on
/// both; of more than two channels the first two are played.
class Player {
 public:
  /// \param steps_per_frame output samples per frame of the track
  /// \param skip            output samples to leave out at the start
  Player(audio::Source track, double steps_per_frame, Seconds before, Seconds after, double skip);

  /// Fills both blocks, full scale ±1. \returns how many samples lie before the end
  std::size_t read(std::vector<double>& left, std::vector<double>& right);

 private:
  void feed();
  std::size_t take_frames(std::size_t wanted);

  audio::Source track_;
  std::int64_t lead_frames_, tail_frames_;
  std::int64_t frames_ = 0;          // fed so far
  std::optional<std::int64_t> end_;  // frame at which all ends, once the track has
  double step_, position_;           // in samples of the raised stream, from its oldest kept one
  double produced_ = 0.0, per_frame_;
  Interpolator first_[2], second_[2];
  Lagrange lagrange_;
  std::vector<double> interleaved_, frames_in_[2], middle_, raised_[2];
};

}  // namespace railtap::rig
