// SPDX-License-Identifier: MIT
// The options by which a command's result goes into the job's record as well.
#include "command/recording_options.hpp"

#include <filesystem>

#include "command/command.hpp"

namespace railtap::command {

using system::Json;
using system::json_number;

namespace {

template <class T>
Json json_or_null(const std::optional<T>& value) {
  if (!value) return nullptr;
  return *value;
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
