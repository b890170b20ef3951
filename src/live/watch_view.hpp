// SPDX-License-Identifier: MIT
// Everything that a watch shows at one moment, and the few figures that follow from it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "electric/calibration.hpp"
#include "electric/target.hpp"
#include "live/channel_watch.hpp"
#include "units/quantity.hpp"

namespace railtap::live {

/// What the control is turned to.
struct WatchTarget {
  Dbfs level{0.0};
  Decibels tolerance = electric::default_tolerance;
};

/// One moment of a watch: all that the screen and the lines are made of.
struct WatchView {
  std::string source;  ///< in the person's words
  Hertz rate{48000.0};
  Seconds time{0.0};                          ///< in the stream
  bool ended = false;                         ///< no more samples will come
  bool held = false;                          ///< the readings do not change, by a key
  std::int64_t places_with_losses = 0;        ///< where the input lost samples
  std::optional<Volts> volts_per_full_scale;  ///< peak; none: levels are shown in dBFS
  std::optional<WatchTarget> target;
  Percent limit{1.0};                                 ///< of THD+N
  std::optional<electric::SoundInterface> interface;  ///< the recording input's own figures
  std::vector<ChannelReading> readings;
  std::size_t focus = 0;              ///< index of the channel that the keys are for
  std::string message;                ///< of the last key; may be empty
  std::optional<std::string> prompt;  ///< a question with what was typed so far
  std::string knobs;                  ///< of the virtual rig; empty without one
  bool page = false;                  ///< a page is served besides
};

/// RMS volts at a level. \param volts_per_full_scale peak
[[nodiscard]] Volts rms_volts(Dbfs level, Volts volts_per_full_scale);
/// The level of RMS volts (> 0).
[[nodiscard]] Dbfs level_of(Volts rms, Volts volts_per_full_scale);

/// The way to the target.
struct ToGo {
  Decibels change{0.0};  ///< above zero: raise
  electric::Direction direction = electric::Direction::hold;
};
/// None without a target, and in digital silence.
[[nodiscard]] std::optional<ToGo> to_go(const ChannelReading& reading,
                                        const std::optional<WatchTarget>& target);

/// What is wrong: the cause of the last block's harmonics or overload, else what the last seconds
/// held, else what the block has; none where nothing is, or nothing is known.
[[nodiscard]] std::optional<judge::Cause> cause_of(const ChannelReading& reading);

/// "clean", "clipped", …; "turning" while the level moves, "waiting" before the first block.
[[nodiscard]] std::string verdict_word(const ChannelReading& reading);

/// A level as the watch shows it: "14.14 V", or "-12.30 dBFS" without a calibration.
[[nodiscard]] std::string level_text(Dbfs level, const std::optional<Volts>& volts_per_full_scale);

/// Whether every channel's last reading is within limits and on target, and nothing was lost.
[[nodiscard]] bool within_limits(const WatchView& view);

/// Whether a reading's THD+N may be the recording input's own; false where that is not known.
[[nodiscard]] bool is_interfaces_own(const ChannelReading& reading, const WatchView& view);

/// One line for people who read lines: "12.4 s | channel 1: 14.10 V, raise 0.02 dB, …".
[[nodiscard]] std::string plain_line(const WatchView& view);

/// One JSON document in a line, railtap.watch/1. \see docs/formats.md
[[nodiscard]] std::string json_line(const WatchView& view);

}  // namespace railtap::live
