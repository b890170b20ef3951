// SPDX-License-Identifier: MIT
// The player in the head unit, a track as a smooth voltage at any rate that is asked for; and the
// hand that turns a control, with uneven speed and rests in between.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "audio/stream.hpp"
#include "rig/filter.hpp"
#include "signal/generator.hpp"
#include "units/quantity.hpp"

namespace railtap::rig {

// The player in the head unit: a track as a smooth voltage, at any rate that is asked for.

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

// A hand on a control: it turns with uneven speed and rests in between.

/// How somebody turns the controls of a rig.
struct HandSetting {
  double speed_db_per_s = 8.0;  ///< in the mean, > 0
  Percent unevenness{0.0};      ///< 0 … 100; at 100 it goes between half and twice that speed
  Decibels pause_every{0.0};    ///< about how far it turns between rests; 0: it does not rest
  Seconds pause{0.3};           ///< about how long it rests
  bool returns = false;         ///< in the end it turns back to where it began
};

/// A gain on its way to where it is wanted. The same seed goes the same way.
class Hand {
 public:
  /// \param rate of the samples, > 0; \param start the gain it begins at, dB
  Hand(const HandSetting& setting, std::uint64_t seed, Hertz rate, Decibels start);

  /// The next samples' gains, as factors; once the wanted gain is reached it stays there.
  void fill(std::span<double> gains, Decibels wanted);

 private:
  void advance(double seconds, double wanted_db);
  void draw();

  HandSetting setting_;
  signal::Random random_;
  double rate_;
  double at_db_, speed_ = 0.0;  // now
  double drawn_speed_ = 0.0;    // towards which the speed goes
  double speed_left_s_ = 0.0;   // of the drawn speed
  double pause_left_s_ = 0.0;   // of a rest
  double way_left_db_ = 0.0;    // to the next rest
};

}  // namespace railtap::rig
