// SPDX-License-Identifier: MIT
// What a device's stream goes through: a ring where a driver's callback leaves its samples, every
// loss counted, and the check whether the stream is whole, by what the driver reports, what was
// counted, and what the clock shows.
#pragma once

#include <algorithm>
#include <atomic>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <memory>
#include <optional>
#include <span>
#include <type_traits>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::audio {

// Where a driver's callback leaves its samples: copied into a ring, and every loss counted.

/// A ring of plain values for exactly one writing and one reading thread. After construction it
/// neither allocates nor locks: both sides finish in a number of steps that depends on nothing but
/// how much is copied (wait-free), so `push` may be called from a real-time callback.
///
/// Either side owns one counter, which only grows; the other side reads it with acquire order after
/// it was stored with release order, which is what makes the copied values visible
/// [ISO C++20, 6.9.2.2]. The counters have 64 bits and do not come round.
template <class T>
class Ring {
  static_assert(std::is_trivially_copyable_v<T>, "values are copied as memory");
  static_assert(std::atomic<std::size_t>::is_always_lock_free, "a callback may take no lock");

 public:
  /// Room for at least `least` values, > 0; rounded up to a power of two. The memory is written to
  /// here, so that the callback meets no page fault.
  explicit Ring(std::size_t least)
      : size_(std::bit_ceil(least)), values_(std::make_unique<T[]>(size_)) {}

  [[nodiscard]] std::size_t capacity() const { return size_; }

  /// Writer: how many values fit now. Only the reader can change it, upwards.
  [[nodiscard]] std::size_t writable() const {
    return size_ -
           (written_.load(std::memory_order_relaxed) - taken_.load(std::memory_order_acquire));
  }

  /// Writer: copies as many of the values as fit. \returns how many
  std::size_t push(std::span<const T> values) {
    const std::size_t count = std::min(values.size(), writable());
    const std::size_t start = written_.load(std::memory_order_relaxed);
    const std::size_t first = std::min(count, size_ - (start & (size_ - 1)));
    copy(values_.get() + (start & (size_ - 1)), values.data(), first);
    copy(values_.get(), values.data() + first, count - first);
    written_.store(start + count, std::memory_order_release);
    return count;
  }

  /// Reader: how many values there are now. Only the writer can change it, upwards.
  [[nodiscard]] std::size_t readable() const {
    return written_.load(std::memory_order_acquire) - taken_.load(std::memory_order_relaxed);
  }

  /// Reader: takes as many values as there are and fit. \returns how many
  std::size_t pop(std::span<T> values) {
    const std::size_t count = std::min(values.size(), readable());
    const std::size_t start = taken_.load(std::memory_order_relaxed);
    const std::size_t first = std::min(count, size_ - (start & (size_ - 1)));
    copy(values.data(), values_.get() + (start & (size_ - 1)), first);
    copy(values.data() + first, values_.get(), count - first);
    taken_.store(start + count, std::memory_order_release);
    return count;
  }

 private:
  static void copy(T* to, const T* from, std::size_t count) {
    if (count > 0) std::memcpy(to, from, count * sizeof(T));
  }

  // Apart by a cache line and more, so that neither side slows the other down.
  static constexpr std::size_t apart = 128;
  std::size_t size_;
  std::unique_ptr<T[]> values_;
  alignas(apart) std::atomic<std::size_t> written_{0};
  alignas(apart) std::atomic<std::size_t> taken_{0};
};

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

// Whether a stream from a device is whole: what the driver reports, what was counted, and what the
// clock shows.

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
