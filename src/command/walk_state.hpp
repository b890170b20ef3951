// SPDX-License-Identifier: MIT
// What a step of the guided walk is, how far a walk has come (told by the marks that it leaves in
// the job's record), and the answers of the step at hand, kept in a file so that nothing has to be
// answered twice.
#pragma once

#include <filesystem>
#include <functional>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "command/dialog.hpp"
#include "electric/target.hpp"
#include "signal/tone.hpp"
#include "system/job_record.hpp"
#include "system/json.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

// What a step of the guided walk is: its prompts, how their answers are checked, what it records.

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

// How far a guided walk has come: told by the marks that it leaves in the job's record.

/// The tones that gains are set with, unless a description names others.
inline constexpr Hertz usual_tone{1000.0}, bass_tone{50.0};

/// What bounds a target besides the ratings.
struct TargetBound {
  Volts volts;     ///< RMS
  std::string by;  ///< "supply", "head-unit", … as railtap.plan/1 has it
};

/// One gain control and the channels behind it.
struct WalkChannel {
  electric::Channel plate;  ///< name and ratings
  bool bass = false;
  Hertz tone = usual_tone;           ///< it is set with
  std::optional<TargetBound> bound;  ///< by a description
  std::vector<std::string> outputs;  ///< the channels' own names; empty: not described
  std::vector<std::string> carries;  ///< of each: "left", "right", "both"; empty: not known
  std::string switches;              ///< as they should stand; empty: not described
};

/// What is asked before the work begins, or told by a description.
struct WalkFacts {
  std::optional<std::string> meter;  ///< as parse_meter reads it; empty text: not known
  std::vector<WalkChannel> channels;
  std::optional<Volts> tap_full_scale;  ///< RMS of a sine that fills the input, by the tap's parts
  Dbfs tone_level{0.0};                 ///< of the tone while a gain is set
  Decibels tolerance = electric::default_tolerance;
  std::optional<int> volume_steps;          ///< the highest one of the head unit
  std::vector<std::string> source_outputs;  ///< of the head unit; empty: not described
};

/// What is known so far. A step whose mark is there needs nothing more.
struct WalkState {
  WalkFacts facts;
  std::optional<Volts> volts_per_full_scale;  ///< peak, as calibrated
  std::optional<int> volume;                  ///< highest clean step of the head unit
  std::set<std::string> done;  ///< names of steps: "safety", "facts", … "gain front"
  std::map<std::string, std::string> left_out;  ///< of these: left out, and why
  std::set<std::string> passed_over;            ///< of those: because another step was left out
};

/// Without a record, nothing is known. \throws Error where it is damaged, or its marks are
[[nodiscard]] WalkState read_walk_state(const std::filesystem::path& record);

/// Leaves the mark of a finished step, behind its entries, all of it at once.
/// \param details what later steps need of it; an object, or null for nothing; "left_out" says why
/// there is no more
/// \param system the described system, for the record to carry
void mark_step(const std::filesystem::path& record, const std::string& step,
               const system::Json& details,
               const std::optional<system::Json>& system = std::nullopt,
               std::vector<system::RecordEntry> entries = {});

/// Takes back that a step is done. What it wrote down stays; later entries count.
void mark_undone(const std::filesystem::path& record, const std::string& step);

/// The details of the mark "facts", from which read_walk_state has them back.
[[nodiscard]] system::Json json_of(const WalkFacts& facts);

/// Whether two documents say the same, in whatever order.
[[nodiscard]] bool same_document(const system::Json& one, const system::Json& other);

// The answers of a walk's step at hand, kept in a file beside the record, so that nothing has to be
// answered twice.

/// What is kept while a step is not finished.
struct WalkDraft {
  std::string step;  ///< its name; of another step's draft nothing is used
  Answers answers;
  bool leaving_out = false;  ///< the reason for leaving it out is being asked for
  system::Json rehearsal;    ///< the virtual car as it is now; null without one
};

/// ".job.json.walk" beside "job.json".
[[nodiscard]] std::filesystem::path draft_of(const std::filesystem::path& record);

/// An empty one where there is no file. \throws Error where it is damaged
[[nodiscard]] WalkDraft read_draft(const std::filesystem::path& record);

/// Replaces the file at once. \throws Error where it cannot be written
void write_draft(const std::filesystem::path& record, const WalkDraft& draft);

/// Removes the file, where there is one.
void remove_draft(const std::filesystem::path& record);

}  // namespace railtap::command
