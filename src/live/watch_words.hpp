// SPDX-License-Identifier: MIT
// What a watch says of a channel, in words and shares: the same on the terminal's screen and on the
// phone page, each of which only arranges it.
#pragma once

#include <optional>
#include <string>

#include "live/canvas.hpp"
#include "live/watch_view.hpp"

namespace railtap::live {

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
