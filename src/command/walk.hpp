// SPDX-License-Identifier: MIT
// The guided walk: what it asks about the vehicle, its steps from safety to the last gain, and its
// one loop: show a prompt, check the answer, keep it, go on.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "command/dialog.hpp"
#include "command/walk_state.hpp"
#include "system/json.hpp"
#include "system/system_description.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

// What the guided walk asks about the vehicle, and need not ask because a system file describes it.

/// A description as the walk uses it.
struct Described {
  WalkFacts facts;                    ///< what is not described is left out
  std::string tap;                    ///< its parts in words; empty: not described
  std::vector<std::string> warnings;  ///< of the plan
  system::Json document;              ///< the file's keys and values
};

/// The gain controls with the plan's targets, the meter, and what the described tap should give.
/// Channels that share a control become one, with the lowest target among them; controls of several
/// amplifiers that have the same name get the amplifier's in front.
/// \throws Error for values that the targets' formulas refuse
[[nodiscard]] Described described(const system::SystemDescription& system);

// The steps of the guided walk, from safety to the last gain.

/// What is to be recorded.
struct Take {
  std::string step;  ///< its name; recordings are named after it
  Seconds length{0.0};
  Playing playing;
};

/// What the steps need from outside.
struct WalkTools {
  std::string program;                 ///< how it was called, for commands to type
  std::string system_file;             ///< as given; empty: no described system
  std::optional<Described> described;  ///< what it says
  bool rehearses = false;              ///< on a virtual car, which no live input hears
  Seconds length{5.0};                 ///< of what is recorded of a steady tone
  std::function<std::filesystem::path(const Take&)> record;
  /// Where a virtual car's control stands, "15.0 %"; none: the person is asked.
  std::function<std::string(const std::string& control)> gain_position;
};

/// The steps by what is known so far: those of the gains come with the facts. The tools outlive
/// the steps.
[[nodiscard]] std::vector<Step> walk_steps(const WalkTools& tools, const WalkState& state);

/// The step "facts", which asks for what is not described.
[[nodiscard]] Step facts_step(const WalkTools& tools);

/// A prompt that is answered by Enter alone.
[[nodiscard]] Prompt done_prompt(const std::string& id, std::vector<std::string> lines,
                                 const std::string& question);

// The one loop of the guided walk: shows a prompt, checks the answer, keeps it, goes on.

/// What may be done at every prompt besides answering it: the virtual car's knobs.
struct WalkAside {
  /// Takes what was typed where it is meant for a knob, and says what became of it; else none.
  std::function<std::optional<std::string>(const std::string& typed, const Step& step)> take;
  /// What is to be seen meanwhile: the positions of the knobs, in paragraphs.
  std::function<std::vector<std::string>(const Step& step)> display;
  /// What the meter shows, none where nothing steady is played.
  std::function<std::optional<MeterReading>(const Step& step)> meter;
  std::function<system::Json()> state;  ///< to be kept with the answers
  std::function<std::vector<Button>(const Step& step)> buttons;
  std::vector<std::string> help;  ///< a line each
};

/// All that the loop works on.
struct WalkJob {
  std::filesystem::path record;
  Asker asker;
  /// The steps by what is known so far.
  std::function<std::vector<Step>(const WalkState&)> steps;
  std::vector<std::string> greeting;  ///< shown before the first prompt
  std::optional<WalkAside> aside;
};

/// Goes from the first step that is not done to the last. Every answer is in a file before the next
/// prompt is shown, every finished step in the record. \returns what is known at the end
/// \throws Stopped, Interrupted, and Error where record or draft cannot be read or written
WalkState walk_through(const WalkJob& job);

}  // namespace railtap::command
