// SPDX-License-Identifier: MIT
// Where a driver's callback leaves its samples: copied into a ring, and every loss counted.
#pragma once

#include <cstdint>
#include <optional>
#include <span>

#include "audio/ring.hpp"
#include "units/quantity.hpp"

namespace railtap::audio {

/// One call of the driver.
struct Arrival {
  std::int64_t frames = 0;  ///< kept of this call, all of them or none
  std::int64_t lost = 0;    ///< frames that found no room since the arrival before, just before
                            ///< these
  double time_s = 0.0;      ///< when the call came, on a clock that never steps
  bool overflow = false;    ///< the driver said that it had lost samples before these
};

/// The meeting point of the driver's thread, which calls `take`, and the thread that reads.
class Intake {
 public:
  /// \param channels samples in a frame, >= 1
  /// \param frames   that fit, > 0: as long as the reader may be held up
  Intake(int channels, std::size_t frames);

  [[nodiscard]] int channels() const { return channels_; }

  /// The driver's side: copies the frames, or none of them when they do not all fit. It does not
  /// allocate, lock, wait or touch a file, and cannot throw.
  /// \param codes    interleaved, left-justified: full scale is 2^31
  /// \param overflow the driver reports that it lost samples before these
  void take(std::span<const std::int32_t> codes, double time_s, bool overflow) noexcept;

  /// The reader's side: the samples that are there, whole frames. \returns how many frames
  std::size_t read(std::span<std::int32_t> codes);
  [[nodiscard]] std::size_t readable_frames() const;

  /// The reader's side: the next call of the driver; none when there is no further one yet.
  std::optional<Arrival> next_arrival();

  /// Frames that were lost behind the last arrival. To be called when the driver has stopped.
  [[nodiscard]] std::int64_t lost_at_end() const { return pending_lost_; }

 private:
  int channels_;
  Ring<std::int32_t> codes_;
  Ring<Arrival> arrivals_;
  // The driver's side alone:
  std::int64_t pending_lost_ = 0;
  bool pending_overflow_ = false;
};

}  // namespace railtap::audio
