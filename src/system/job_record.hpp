// SPDX-License-Identifier: MIT
// A job's record: what was measured, when and with which calibration, as JSON that outlives it.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "system/json.hpp"

namespace railtap::system {

/// One measurement, or one remark.
struct RecordEntry {
  std::string kind;     ///< "analysis", "onset", "calibration", "target", "plan", "note", …
  std::string subject;  ///< a channel or stage as the system names it; may be empty
  std::string stage;    ///< "source", "amplifier" or empty
  std::string moment;   ///< "before", "after" or empty
  std::string note;     ///< in the person's words
  Json result;          ///< the command's own document, or null
  Json calibration;     ///< its summary, or null
  std::string time;     ///< ISO 8601, UTC; where empty, appending fills it in
};

/// A record as schema railtap.record/1 holds it.
struct JobRecord {
  std::string name;
  std::string created;  ///< ISO 8601, UTC
  Json system;          ///< the described system, or null
  std::vector<RecordEntry> entries;
  Json rehearsal;  ///< of a rehearsal on a virtual car: which, and what was found; else null
};

/// \param place the file's name, for errors
/// \throws Error with the line or the entry for what is no JSON, no record, damaged, nested beyond
///         any record, or of a newer version of the schema. Keys that are not known are passed
///         over; of those that are, only "schema", "entries" and an entry's "kind" have to be there
[[nodiscard]] JobRecord parse_job_record(std::string_view text, const std::string& place);

/// Reads a record file. \throws Error as parse_job_record does, and where it cannot be read
[[nodiscard]] JobRecord read_job_record(const std::filesystem::path& path);

/// The record as a document, railtap.record/1.
[[nodiscard]] Json job_record_document(const JobRecord& record);

/// The record as its file has it: the same as text, an entry a line.
[[nodiscard]] std::string job_record_text(const JobRecord& record);

/// Adds an entry; makes the record where there is none. What the file held before is never lost:
/// the whole new file takes the old one's name once it is on the disk, and one process writes at a
/// time. What the file says beyond this version's keys stays in it.
/// \param system the described system, which the record then carries; with its name, where it has
///               one
/// \throws Error where the file is no record that can be read, is full, or cannot be written
void append_to_job_record(const std::filesystem::path& path, RecordEntry entry,
                          const std::optional<Json>& system = std::nullopt);

/// Notes that the record is a rehearsal's; makes the record where there is none. \throws Error as
/// append_to_job_record does
void set_rehearsal(const std::filesystem::path& path, const Json& rehearsal);

/// The same for several entries: all of them, or none.
void append_to_job_record(const std::filesystem::path& path, std::vector<RecordEntry> entries,
                          const std::optional<Json>& system = std::nullopt);

}  // namespace railtap::system
