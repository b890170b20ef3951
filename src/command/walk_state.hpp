// SPDX-License-Identifier: MIT
// How far a guided walk has come: told by the marks that it leaves in the job's record.
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "electric/target.hpp"
#include "system/job_record.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

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

}  // namespace railtap::command
