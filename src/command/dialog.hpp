// SPDX-License-Identifier: MIT
// Where a walk is asked: questions and answers in plain lines, for a terminal, a pipe and a screen
// reader alike, or whatever else shows a screen and hands back an answer.
#pragma once

#include <cstddef>
#include <functional>
#include <iosfwd>
#include <optional>
#include <string>
#include <vector>

#include "electric/target.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

// Where a walk is asked: a terminal, or whatever else shows a screen and hands back an answer.

/// What may be answered by one key, and what it does.
struct Button {
  std::string key, label;
};

/// What the input is listened to for, while a question waits for its recording.
struct Listening {
  std::optional<Volts> volts_per_full_scale;  ///< peak; none: levels are in dBFS
  std::optional<Volts> target;                ///< RMS
  Decibels tolerance = electric::default_tolerance;
};

/// What a multimeter on the terminals shows, where that is known: a virtual car's.
struct MeterReading {
  Volts volts{0.0};
  std::string digits, unit;  ///< as its display has them: "14.10", "V"
  std::string note;          ///< "this tone is outside its band"; may be empty
};

/// What the person sees before an answer is waited for.
struct Screen {
  std::string title;                     ///< of the step: "Step 3 of 9: Calibration"; may be empty
  std::vector<std::string> lines;        ///< paragraphs, not broken into lines
  std::string question;                  ///< empty: nothing is asked
  std::vector<Button> buttons;           ///< the usual answers; others may be typed
  std::optional<Listening> listening{};  ///< where live figures help to answer
  std::optional<MeterReading> meter{};
};

/// The person wants to stop here, or there are no more answers.
struct Stopped {};

/// Shows screens and hands over answers. Several may be put together: each is shown the screen, and
/// polled in turn until one has an answer.
struct Asker {
  std::function<void(const Screen&)> show;
  /// An answer to the screen that was shown last, without blanks at its ends; none yet where none
  /// came within a fifth of a second. \throws Stopped at the end of the input, Interrupted
  std::function<std::optional<std::string>()> poll;
};

/// Shows the screen and waits for an answer. \throws as poll does
[[nodiscard]] std::string ask(const Asker& asker, const Screen& screen);

// Questions and answers in plain lines, for a terminal, a pipe and a screen reader alike.

/// A screen has at most so many lines, the one for the answer included: what an old terminal shows.
inline constexpr std::size_t most_lines = 24;
/// And a line at most so many characters.
inline constexpr std::size_t most_columns = 78;

/// Talks on an output and reads answers from standard input. On a terminal, a screen that would be
/// longer than `most_lines`, or than the window, is shown in parts, with Enter from one to the
/// next; elsewhere the output is a transcript with the answers in it.
[[nodiscard]] Asker terminal_asker(std::ostream& out);

/// Text as lines of at most `columns` characters. A longer word is broken; control characters,
/// which a name in a file may hold, become U+FFFD.
[[nodiscard]] std::vector<std::string> broken_into_lines(const std::string& text,
                                                         std::size_t columns);

/// A name for a line of text: a long one is cut.
[[nodiscard]] std::string short_name(const std::string& name);

}  // namespace railtap::command
