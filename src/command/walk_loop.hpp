// SPDX-License-Identifier: MIT
// The one loop of the guided walk: shows a prompt, checks the answer, keeps it, goes on.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "command/dialog.hpp"
#include "command/walk_state.hpp"
#include "system/json.hpp"

namespace railtap::command {

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
