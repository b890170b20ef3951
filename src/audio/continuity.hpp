// SPDX-License-Identifier: MIT
// Whether a stream from a device is whole: what the driver reports, what was counted, and what the
// clock shows.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "audio/intake.hpp"
#include "units/quantity.hpp"

namespace railtap::audio {

/// Who lost samples.
enum class LossCause {
  buffer,  ///< this program read too late; the number is exact
  driver,  ///< the driver reported it; the number is by the clock
  clock,   ///< nothing was reported, but fewer samples came than the time that passed
};

/// A place in the stream where samples are missing.
struct Gap {
  std::int64_t at_frame = 0;         ///< of the frames that were kept: the first one behind it
  std::optional<std::int64_t> lost;  ///< frames; none where it is less than the clock resolves
  LossCause cause = LossCause::buffer;
};

/// Checks the calls of a driver as they come.
///
/// A call is late by the time since the first one minus the frames since then over the rate.
/// Lateness varies with the load, but returns to its lowest value as soon as the stream has caught
/// up. Lost samples are never caught up: the lowest value of a window rises by them and stays. So
/// windows of one second are compared, each with the one before, which also takes the clock's error
/// out. A rise that the stream does catch up later was no loss, and is taken back.
///
/// Detects: single losses of `least_gap` and more, whoever caused them; smaller ones where the
/// driver or the buffer reports them. Derived.
class Continuity {
 public:
  /// Four times the 5 ms by which the lowest lateness of a second was seen to vary on a computer
  /// whose processors were all busy.
  static constexpr Seconds least_gap{0.02};

  /// \param rate nominal, samples per second, > 0
  explicit Continuity(Hertz rate);

  void add(const Arrival& arrival);

  /// The stream has ended. \param lost_at_end frames that the buffer lost behind the last arrival
  void finish(std::int64_t lost_at_end);

  [[nodiscard]] const std::vector<Gap>& gaps() const { return gaps_; }
  [[nodiscard]] std::int64_t frames() const { return kept_; }
  [[nodiscard]] std::int64_t driver_overflows() const { return overflows_; }

  /// Frames lost, where known.
  [[nodiscard]] std::int64_t lost() const;

 private:
  void close_window();
  void shortfall(double seconds);
  void take_back(double seconds);

  double rate_;
  std::optional<double> start_s_;
  std::int64_t kept_ = 0;
  std::int64_t offered_ = 0;  // kept, and lost in numbers that are known
  std::int64_t overflows_ = 0;
  std::vector<Gap> gaps_;

  std::optional<double> before_;  // lowest lateness of the window before
  std::optional<double> lowest_;  // of this window
  double window_end_s_ = 0.0;
  std::int64_t last_prompt_ = 0;  // kept frames behind the last call that was not late
};

}  // namespace railtap::audio
