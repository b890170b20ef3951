// SPDX-License-Identifier: MIT
// What both ways of watching share: a source measured at its own pace.
#pragma once

#include <chrono>
#include <cstdint>
#include <memory>
#include <optional>
#include <thread>

#include "live/feed.hpp"
#include "live/sound_guide.hpp"
#include "live/watch.hpp"

namespace railtap::live {

/// A job's source, read and measured.
class Stream {
 public:
  /// Takes source and losses out of the job.
  explicit Stream(WatchJob& job);

  /// Reads and measures up to `most` frames, or as many as are due. \returns whether there were any
  bool advance(std::int64_t most, Seconds wait);

  [[nodiscard]] std::int64_t frames() const { return frames_; }
  [[nodiscard]] double rate() const { return rate_; }
  [[nodiscard]] bool ended() const;
  /// Takes the end of the stream, once. \returns whether it said anything that was not told
  bool finish();
  [[nodiscard]] bool finished() const { return finished_; }

  /// Puts what changes into the view.
  void fill(WatchView& view) const;
  void reset() { watch_.reset(); }

  /// Sets the guide sound by the channel in focus.
  void sound(const WatchView& view);

 private:
  [[nodiscard]] std::int64_t due(std::int64_t most) const;

  static constexpr double pause_s = 0.005;
  Feed feed_;
  Watch watch_;
  double rate_;
  std::size_t channels_;
  bool paced_;
  std::chrono::steady_clock::time_point start_;
  std::optional<std::int64_t> most_;
  std::int64_t frames_ = 0;
  bool finished_ = false, more_at_end_ = false;
  std::unique_ptr<SoundGuide> guide_;
};

/// What does not change.
[[nodiscard]] WatchView view_of(const WatchJob& job);

}  // namespace railtap::live
