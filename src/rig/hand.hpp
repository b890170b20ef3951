// SPDX-License-Identifier: MIT
// A hand on a control: it turns with uneven speed and rests in between.
#pragma once

#include <cstdint>
#include <span>

#include "signal/noise.hpp"
#include "units/quantity.hpp"

namespace railtap::rig {

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
