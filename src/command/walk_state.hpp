// SPDX-License-Identifier: MIT
// How far a guided walk has come: told by the marks that it leaves in the job's record.
#pragma once

#include <filesystem>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "electric/target.hpp"
#include "system/job_record.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

/// One gain control and the channels behind it.
struct WalkChannel {
  electric::Channel plate;  ///< name and ratings
  bool bass = false;        ///< set with the 50 Hz tone
};

/// What is known so far. A step whose mark is there needs nothing more.
struct WalkState {
  std::string meter;  ///< as parse_meter reads it; empty: not described
  std::vector<WalkChannel> channels;
  std::optional<Volts> volts_per_full_scale;
  std::optional<int> volume;  ///< highest clean step of the head unit
  std::set<std::string> done;
};

/// \throws Error where the record is damaged, or its marks are
[[nodiscard]] WalkState read_walk_state(const std::filesystem::path& record);

/// Leaves the mark of a finished step. \param details what later steps need of it; an object
void mark_step(const std::filesystem::path& record, const std::string& step, system::Json details);

[[nodiscard]] system::Json json_of(const WalkChannel& channel);

}  // namespace railtap::command
