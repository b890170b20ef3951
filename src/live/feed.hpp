// SPDX-License-Identifier: MIT
// Samples on their way from a source to a watch: read on a thread of their own, so that keys and
// screen never wait for them.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <vector>

#include "audio/stream.hpp"
#include "units/quantity.hpp"

namespace railtap::live {

/// Reads a source ahead.
class Feed {
 public:
  /// \param losses asked on the reading thread after every block: the number of places where
  /// samples were lost so far; may be absent
  /// \param ahead  by how much, at most
  Feed(audio::Source source, std::function<std::int64_t()> losses, Seconds ahead);

  /// A source that is waiting for samples that never come is left to itself.
  ~Feed();
  Feed(const Feed&) = delete;
  Feed& operator=(const Feed&) = delete;

  [[nodiscard]] const audio::StreamFormat& format() const;

  /// Up to `most` frames, interleaved; waits for the first of them, at most `wait`. What the source
  /// threw is thrown here once all before it was taken.
  [[nodiscard]] std::vector<double> take(std::size_t most, Seconds wait);

  /// The source has ended, and everything of it was taken.
  [[nodiscard]] bool ended() const;

  [[nodiscard]] std::int64_t losses() const;

 private:
  struct State;
  std::shared_ptr<State> state_;
};

}  // namespace railtap::live
