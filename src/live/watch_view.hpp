// SPDX-License-Identifier: MIT
// Everything that a watch shows at one moment, and what it says of a channel in words and shares:
// the same on the terminal's screen and on the phone page.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "electric/calibration.hpp"
#include "electric/target.hpp"
#include "live/canvas.hpp"
#include "live/channel_watch.hpp"
#include "units/quantity.hpp"

namespace railtap::live {

// Everything that a watch shows at one moment, and the few figures that follow from it.

/// What the control is turned to.
struct WatchTarget {
  Dbfs level{0.0};
  Decibels tolerance = electric::default_tolerance;
};

/// One moment of a watch: all that the screen and the lines are made of.
struct WatchView {
  std::string source;              ///< in the person's words
  std::vector<std::string> names;  ///< of channels 1, 2, … as the system has them; may be empty
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

/// Its sentence; none where the rails say it all: flat tops of a sine.
[[nodiscard]] std::optional<std::string> cause_sentence(const ChannelReading& reading);

/// "clean", "clipped", …; "turning" while the level moves, "waiting" before the first block.
[[nodiscard]] std::string verdict_word(const ChannelReading& reading);

/// A level as the watch shows it: "14.14 V", or "-12.30 dBFS" without a calibration.
[[nodiscard]] std::string level_text(Dbfs level, const std::optional<Volts>& volts_per_full_scale);

/// Whether every channel's last reading is within limits and on target, and nothing was lost.
[[nodiscard]] bool within_limits(const WatchView& view);

/// Whether a reading's THD+N may be the recording input's own; false where that is not known.
[[nodiscard]] bool is_interfaces_own(const ChannelReading& reading, const WatchView& view);

/// One line for people who read lines: "12.4 s | front left: 14.10 V, raise 0.02 dB, …".
[[nodiscard]] std::string plain_line(const WatchView& view);

/// One JSON document in a line, railtap.watch/1. \see docs/formats.md
[[nodiscard]] std::string json_line(const WatchView& view);

// What a watch says of a channel, in words and shares: the same on the terminal's screen and on the
// phone page, each of which only arranges it.

/// What a reading's words and figures are drawn in.
[[nodiscard]] Style style_of(const ChannelReading& reading);

/// What is shown in capitals has to be noticed. Hyphens become blanks.
[[nodiscard]] std::string capitals(std::string text);

/// "CLEAN", "DISTORTED: HUM", …
[[nodiscard]] std::string heading_word(const ChannelReading& reading);

/// The level in figures and unit, "14.14" and "V"; "-" and "silent" where there is none.
struct Figures {
  std::string digits, unit;
};
/// \param decimals of a level in dBFS
[[nodiscard]] Figures figures_of(const ChannelReading& reading, const WatchView& view,
                                 int decimals);

/// What to do next: away from flat tops first, then to the target.
struct Advice {
  std::optional<electric::Direction> direction;  ///< none: there is nothing to turn
  std::string word;                              ///< "RAISE", "LOWER", "ON TARGET"; may be empty
  std::string text;                              ///< "3.01 dB to 20.00 V"
  Style style = Style::plain;
};
[[nodiscard]] Advice advice_of(const ChannelReading& reading, const WatchView& view);

/// The level on a scale that shows the target at four fifths; without a target, what a recording
/// input can take. Shares 0 … 1.
struct LevelBar {
  double filled = 0.0;
  std::optional<double> target;
  Style style = Style::plain;
};
[[nodiscard]] LevelBar level_bar(const ChannelReading& reading, const WatchView& view);

/// "THD+N 0.05 %", "--" where it is not known.
[[nodiscard]] std::string thdn_text(const ChannelReading& reading, const WatchView& view);
/// "1.0000 kHz".
[[nodiscard]] std::string frequency_text(const ChannelReading& reading);
/// "highest clean 14.14 V at 12.4 s"; none before there was one.
[[nodiscard]] std::optional<std::string> highest_clean_text(const ChannelReading& reading,
                                                            const WatchView& view);

/// A rail of the output: whether it is reached.
struct RailLamp {
  bool known = false;  ///< there is a tone by which it could be told
  bool flat = false;
  std::string text;  ///< "FLAT, 0.70 dB over", "not reached"; empty where it is not known
  Style style = Style::faint;
};
/// \param over of this rail, of the reading's findings
[[nodiscard]] RailLamp rail_lamp(const ChannelReading& reading,
                                 const std::optional<Decibels>& over);

/// The flat tops that were found, or none.
[[nodiscard]] judge::FlatTop flat_top_of(const ChannelReading& reading);

/// Above and below what the bar and the history show around a target: as far below as a control
/// that was never set may be, and a little above.
inline constexpr Decibels below_target{12.0};
inline constexpr Decibels above_target{3.0};
/// Without a target.
inline constexpr Dbfs lowest_shown{-60.0};

/// Which of the channels are shown side by side: 1 and 2, 3 and 4, …; the last one of an odd number
/// with its neighbour. Index of the first, 0 where there is only one.
[[nodiscard]] std::size_t first_of_pair(const WatchView& view);

}  // namespace railtap::live
