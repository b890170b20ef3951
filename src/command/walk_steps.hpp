// SPDX-License-Identifier: MIT
// The steps of the guided walk, from safety to the last gain.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "command/walk_facts.hpp"
#include "command/walk_state.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

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
};

/// The steps by what is known so far: those of the gains come with the facts. The tools outlive
/// the steps.
[[nodiscard]] std::vector<Step> walk_steps(const WalkTools& tools, const WalkState& state);

/// The step "facts", which asks for what is not described.
[[nodiscard]] Step facts_step(const WalkTools& tools);

/// A prompt that is answered by Enter alone.
[[nodiscard]] Prompt done_prompt(const std::string& id, std::vector<std::string> lines,
                                 const std::string& question);

}  // namespace railtap::command
