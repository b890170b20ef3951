// SPDX-License-Identifier: MIT
// A lock-free queue between one thread that writes and one that reads, for use in audio callbacks.
#pragma once

#include <algorithm>
#include <atomic>
#include <bit>
#include <cstddef>
#include <cstring>
#include <memory>
#include <span>
#include <type_traits>

namespace railtap::audio {

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

}  // namespace railtap::audio
