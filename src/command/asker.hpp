// SPDX-License-Identifier: MIT
// Where a walk is asked: a terminal, or whatever else shows a screen and hands back an answer.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "electric/target.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

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

/// What the person sees before an answer is waited for.
struct Screen {
  std::string title;                     ///< of the step: "Step 3 of 9: Calibration"; may be empty
  std::vector<std::string> lines;        ///< paragraphs, not broken into lines
  std::string question;                  ///< empty: nothing is asked
  std::vector<Button> buttons;           ///< the usual answers; others may be typed
  std::optional<Listening> listening{};  ///< where live figures help to answer
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

}  // namespace railtap::command
