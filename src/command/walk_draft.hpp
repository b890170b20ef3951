// SPDX-License-Identifier: MIT
// The answers of a walk's step at hand, kept in a file beside the record, so that nothing has to be
// answered twice.
#pragma once

#include <filesystem>
#include <string>

#include "command/walk_step.hpp"
#include "system/json.hpp"

namespace railtap::command {

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
