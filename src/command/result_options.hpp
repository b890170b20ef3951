// SPDX-License-Identifier: MIT
// The options that take a result elsewhere: --svg for pictures alone, and those that put it into
// the job's record.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "files/atomic_file.hpp"
#include "system/job_record.hpp"
#include "system/json.hpp"
#include "system/kept_files.hpp"

namespace railtap::command {

// Pictures alone, for commands with --svg.

/// Writes the pictures of a document. A name that ends in .svg is one file with all of them;
/// anything else is a folder, created where needed, for a file each, named after the recording.
/// \param recording name of the recording, of which the stem is used
/// \throws Error where the document gives no picture, or a file is there and `overwrite` refuses
void write_pictures(const system::Json& document, const std::filesystem::path& where,
                    const std::filesystem::path& recording, files::Overwrite overwrite);

// The options by which a command's result goes into the job's record as well.

class Command;

/// Where a result is written down, and what it belongs to.
struct RecordingOptions {
  std::string file;                          ///< empty: nothing is written down
  std::string subject, stage, moment, note;  ///< as system::RecordEntry has them
};

/// Adds --record, --subject, --stage, --moment and --note.
void add_recording_options(Command& command, RecordingOptions& options);

/// Call it before the measurement: what is wrong with the record is told before the work is done.
/// \throws Error where the file is there and is no record that can be read
void check_recording(const RecordingOptions& options);

/// Whether a result is to be written down: documents that nobody asked for are not made.
[[nodiscard]] bool is_recorded(const RecordingOptions& options);

/// Adds --names, what the recorded channels are called. \param names as typed
void add_names_option(Command& command, std::string& names);

/// The names of a recording's channels, in order: as typed, else as the system in the record names
/// the channels of the subject. Empty where neither tells as many names as there are channels.
/// \throws Error where names were typed, and not as many as there are channels
[[nodiscard]] std::vector<std::string> names_of_channels(const std::string& typed,
                                                         const RecordingOptions& options,
                                                         std::size_t channels);

/// The parts of a text between its commas, without the blanks around them; none of an empty text.
[[nodiscard]] std::vector<std::string> split_at_commas(const std::string& text);

/// Appends the result where a record was asked for.
/// \param kind     "analysis", "onset", …
/// \param document the command's own document, as it prints it; not looked at without a record
/// \param calibration its summary, or null
/// \param system   the described system, for the record to carry
/// \throws Error where the record cannot be written
void write_down(const RecordingOptions& options, const std::string& kind, system::Json document,
                const system::Json& calibration = nullptr,
                const std::optional<system::Json>& system = std::nullopt);

/// What an entry says of the calibration that its volts rest on; null where there is none.
/// \param file name of the calibration file
[[nodiscard]] system::Json calibration_summary(
    const std::optional<system::CalibrationRecord>& record, const std::string& file);

/// The same for volts that were given on the command line.
[[nodiscard]] system::Json calibration_summary(const std::optional<Volts>& volts_per_full_scale);

}  // namespace railtap::command
