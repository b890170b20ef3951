// SPDX-License-Identifier: MIT
// Blocks of samples in and out: the same shape for a file, a device and the virtual rig.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::audio {

/// What a stream of samples is.
struct StreamFormat {
  Hertz rate{0.0};                     ///< samples per second and channel, > 0
  int channels = 0;                    ///< >= 1
  std::optional<std::int64_t> frames;  ///< length, where it is known in advance
  std::string encoding;                ///< in words, for people
  std::optional<double>
      code_step;  ///< distance of two codes in full scales (2^(1−bits)); none for float or lossy
};

/// A readable stream. `read` fills whole frames, interleaved (frames × channels), full scale ±1,
/// and returns the number of frames; 0 means the end. It throws Error where the stream is damaged.
struct Source {
  StreamFormat format;
  std::function<std::size_t(std::span<double> interleaved)> read;
  /// What the person should know about the stream once it has been read, a sentence each; may be
  /// absent.
  std::function<std::vector<std::string>()> notes = {};
};

/// A writable stream. `write` takes whole interleaved frames, full scale ±1. Nothing is visible
/// under the final name until `commit` is called; a sink that is destroyed without it leaves
/// nothing behind.
struct Sink {
  StreamFormat format;
  std::function<void(std::span<const double> interleaved)> write;
  std::function<void()> commit;
};

/// Reads `source` to its end on a thread of its own and hands each block to `consume` on this one,
/// in order. At most eight blocks of 256 KiB are in flight, so memory stays the same however long
/// the stream is. What either side throws ends both and is thrown here. \param consume interleaved
/// whole frames, full scale ±1; returns false to stop early \returns frames read
std::int64_t pump(const Source& source,
                  const std::function<bool(std::span<const double>)>& consume);

}  // namespace railtap::audio
