// SPDX-License-Identifier: MIT
// Samples on their way from a source to a watch, read on a thread of their own; and the virtual rig
// as such a source.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "audio/stream.hpp"
#include "live/watch.hpp"
#include "rig/description.hpp"
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

/// What is watched, and with which tone.
struct RehearsalSetup {
  std::string_view point;     ///< a gain control's name, or "head unit"; empty: the first control
  std::optional<int> volume;  ///< of the head unit at the start; none: three quarters of the way
  std::optional<Hertz> tone;  ///< none: the one with which that control is set
};

/// All that a watch of the rig needs.
struct Rehearsal {
  audio::Source source;  ///< never ends
  Knobs knobs;           ///< arrows: up and down the volume, left and right the gain
  std::string name;      ///< of rig and point
  std::vector<std::string> channel_names;  ///< of what is recorded, in order
  Volts volts_per_full_scale{0.0};         ///< by the marks on the tap's resistors
  std::optional<Volts> target;  ///< of the control, by its amplifier's and speakers' ratings
};

/// \throws Error where the rig has no such point or volume step
[[nodiscard]] Rehearsal rehearse(rig::Rig rig, const RehearsalSetup& setup);

}  // namespace railtap::live
