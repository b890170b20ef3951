// SPDX-License-Identifier: MIT
// What a step of the guided walk is: its prompts, how their answers are checked, what it records.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "command/asker.hpp"
#include "signal/tone.hpp"
#include "system/job_record.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

/// The answer to a prompt, as it was taken.
struct Answer {
  std::string prompt, text;
  bool operator==(const Answer&) const = default;
};

/// The answers of one step so far, in order.
struct Answers {
  std::vector<Answer> given;

  /// The answer to a prompt; none where it was not given yet.
  [[nodiscard]] std::optional<std::string> find(const std::string& prompt) const;
  bool operator==(const Answers&) const = default;
};

/// Thrown by `Prompt::take` where the step is to begin again.
struct BeginAgain {
  std::string why;  ///< a sentence
};

/// One question.
struct Prompt {
  std::string id;                  ///< within its step
  std::vector<std::string> lines;  ///< paragraphs in front of it
  std::string question;
  std::vector<Button> buttons;  ///< besides those that every prompt has
  bool records = false;         ///< it is answered by a recording
  /// Checks what was typed, and gives it as it is to be kept. \throws Error where it will not do;
  /// the question is asked again then. BeginAgain
  std::function<std::string(const std::string& typed)> take;
};

/// What a step leaves: entries for the record, details for its mark, and words for the person.
struct Outcome {
  std::vector<system::RecordEntry> entries;
  std::string words;
  system::Json details;                ///< for the mark, see mark_step
  std::optional<system::Json> system;  ///< the described system, for the record to carry
};

/// What plays while a step's recording is made, and where it is tapped.
struct Playing {
  std::string control;               ///< the gain control; empty: the head unit
  signal::Track track;               ///< of the kit, or a shorter one of its kind
  std::optional<signal::Sine> tone;  ///< what a meter there would read; none: nothing steady
  bool volume_turns = false;         ///< up step by step, while it plays
};

/// One step of the walk.
struct Step {
  std::string name;   ///< of its mark: "gain front"
  std::string title;  ///< "Gain of front"
  std::string help;   ///< a sentence or two
  std::optional<Playing> playing;
  bool optional = true;            ///< it may be left out, with a reason
  std::vector<std::string> needs;  ///< names of steps; it is passed over where one was left out
  Listening listening{};           ///< for, where a prompt is answered by a recording
  /// The next question after these answers; none where all are answered.
  std::function<std::optional<Prompt>(const Answers&)> next;
  /// \throws Error where the answers will not do after all, which means that a file has changed
  std::function<Outcome(const Answers&)> finish;
};

}  // namespace railtap::command
