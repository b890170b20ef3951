// SPDX-License-Identifier: MIT
// The options that take a result elsewhere: --svg for pictures alone, and those that put it into
// the job's record.
#include "command/result_options.hpp"

#include <algorithm>
#include <filesystem>
#include <iostream>
#include <memory>
#include <system_error>
#include <vector>

#include "command/command.hpp"
#include "report/pictures.hpp"
#include "system/system_description.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::command {

// Writing the pictures of a document.

namespace {

void create_folder(const std::filesystem::path& folder) {
  std::error_code failure;
  std::filesystem::create_directories(folder, failure);
  if (failure || !std::filesystem::is_directory(folder)) {
    throw Error("the folder for the pictures cannot be created", folder.string(),
                "name a folder in a place that can be written, or a file that ends in .svg");
  }
}

/// All or none of them: a name that is taken is found before the first one is there.
void write_each(const std::vector<report::svg::Plot>& plots, const std::filesystem::path& folder,
                const std::string& stem, files::Overwrite overwrite) {
  create_folder(folder);
  std::vector<std::unique_ptr<files::AtomicFile>> pictures;
  for (const auto& plot : plots) {
    pictures.push_back(
        std::make_unique<files::AtomicFile>(folder / (stem + "-" + plot.id + ".svg"), overwrite));
    pictures.back()->write(report::svg::picture_file({plot}));
  }
  for (const auto& picture : pictures) {
    picture->commit();
    std::cerr << "wrote " << picture->final_path().string() << '\n';
  }
}

}  // namespace

void write_pictures(const system::Json& document, const std::filesystem::path& where,
                    const std::filesystem::path& recording, files::Overwrite overwrite) {
  const auto plots = report::pictures_of(document);
  if (plots.empty()) {
    throw Error("there is nothing to draw", recording.string(),
                "record a steady tone of half a second or more");
  }
  if (where.extension() != ".svg") {
    write_each(plots, where, recording.stem().string(), overwrite);
    return;
  }
  files::write_file(where, report::svg::picture_file(plots), overwrite);
  std::cerr << "wrote " << where.string() << '\n';
}

// The options by which a command's result goes into the job's record as well.

using system::Json;
using system::json_number;

namespace {

template <class T>
Json json_or_null(const std::optional<T>& value) {
  if (!value) return nullptr;
  return *value;
}

/// The system's, where the record carries one and the subject is a gain control or channel of it.
std::vector<std::string> recorded_names(const RecordingOptions& recording) {
  std::error_code ignored;
  if (recording.subject.empty() || !std::filesystem::exists(recording.file, ignored)) return {};
  const system::JobRecord record = system::read_job_record(recording.file);
  return system::channel_names(system::JsonView(record.system), recording.subject);
}

}  // namespace

void add_recording_options(Command& command, RecordingOptions& options) {
  command
      .text("--record", options.file,
            "Append the result to this job record (JSON); made if missing")
      .called("FILE");
  command
      .text("--subject", options.subject,
            "What was measured, as the system names it: \"front left\"")
      .called("NAME")
      .needs("--record");
  command.text("--stage", options.stage, "Whose output: the head unit's or the amplifier's")
      .one_of({"source", "amplifier"})
      .needs("--record");
  command.text("--moment", options.moment, "Before or after a correction")
      .one_of({"before", "after"})
      .needs("--record");
  command.text("--note", options.note, "A remark for the record: gain and switch positions")
      .needs("--record");
}

void add_names_option(Command& command, std::string& names) {
  command
      .text("--names", names,
            "What the recorded channels are called: \"front left,front right\" [as the record's "
            "system names those of --subject]")
      .called("NAME,NAME");
}

std::vector<std::string> split_at_commas(const std::string& text) {
  std::vector<std::string> list;
  for (std::size_t at = 0; !text.empty() && at <= text.size();) {
    const std::size_t comma = std::min(text.find(',', at), text.size());
    list.emplace_back(trimmed(std::string_view(text).substr(at, comma - at)));
    at = comma + 1;
  }
  return list;
}

std::vector<std::string> names_of_channels(const std::string& typed,
                                           const RecordingOptions& options, std::size_t channels) {
  std::vector<std::string> names = split_at_commas(typed);
  if (!names.empty() && names.size() != channels) {
    throw Error("there are " + std::to_string(channels) + " channels and " +
                    std::to_string(names.size()) + (names.size() == 1 ? " name" : " names"),
                "--names",
                "name every recorded channel, for example --names \"front left,front right\"");
  }
  if (names.empty()) names = recorded_names(options);
  if (names.size() != channels) names.clear();
  return names;
}

void check_recording(const RecordingOptions& options) {
  std::error_code ignored;
  if (options.file.empty() || !std::filesystem::exists(options.file, ignored)) return;
  (void)system::read_job_record(options.file);
}

bool is_recorded(const RecordingOptions& options) {
  return !options.file.empty();
}

void write_down(const RecordingOptions& options, const std::string& kind, Json document,
                const Json& calibration, const std::optional<Json>& system) {
  if (!is_recorded(options)) return;
  system::RecordEntry entry;
  entry.kind = kind;
  entry.subject = options.subject;
  entry.stage = options.stage;
  entry.moment = options.moment;
  entry.note = options.note;
  entry.calibration = calibration;
  entry.result = std::move(document);
  system::append_to_job_record(options.file, std::move(entry), system);
}

Json calibration_summary(const std::optional<system::CalibrationRecord>& record,
                         const std::string& file) {
  if (!record) return nullptr;
  const system::CalibrationOrigin& origin = record->origin;
  return {{"file", std::filesystem::path(file).filename().string()},
          {"volts_per_full_scale", json_number(record->volts_per_full_scale.value())},
          {"uncertainty_percent", json_number(record->uncertainty)},
          {"date", json_or_null(origin.date)},
          {"reading_v", json_number(origin.reading)},
          {"meter", json_or_null(origin.meter)},
          {"device", json_or_null(origin.device)},
          {"channel", json_or_null(origin.channel)},
          {"divider", json_or_null(origin.divider)}};
}

Json calibration_summary(const std::optional<Volts>& volts_per_full_scale) {
  if (!volts_per_full_scale) return nullptr;
  return {{"file", nullptr}, {"volts_per_full_scale", json_number(volts_per_full_scale)}};
}

}  // namespace railtap::command
