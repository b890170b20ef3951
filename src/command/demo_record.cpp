// SPDX-License-Identifier: MIT
// Writing the demo's job record and setup sheet.
#include "command/demo_record.hpp"

#include <optional>
#include <system_error>

#include "command/recorded.hpp"
#include "command/recording_options.hpp"
#include "command/stepped.hpp"
#include "files/atomic_file.hpp"
#include "report/analysis.hpp"
#include "report/onset.hpp"
#include "report/sheet/sheet.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

/// A recording as it is named from the demo's folder, so that the record may be moved with it.
std::string name_in_folder(const std::filesystem::path& capture) {
  return "captures/" + capture.filename().string();
}

using system::Json;

/// A control's channels, with the keys of a described system.
void add_channels(Json& channels, const ControlPlate& plate) {
  for (const std::string& input : plate.inputs) {
    channels.push_back({{"name", input},
                        {"control", plate.name},
                        {"rated_power", format_quantity(plate.amplifier_power)},
                        {"rated_load", format_quantity(plate.load)},
                        {"speaker", format_quantity(plate.speaker_power) + " speaker"}});
  }
}

/// What the plates say, with the same keys. Controls of one amplifier follow each other.
Json system_of(const Bench& bench) {
  Json amplifiers = Json::array();
  for (auto plate = bench.controls.begin(); plate != bench.controls.end();) {
    const std::string& amplifier = plate->amplifier;
    Json channels = Json::array();
    for (; plate != bench.controls.end() && plate->amplifier == amplifier; ++plate)
      add_channels(channels, *plate);
    amplifiers.push_back({{"name", amplifier}, {"channel", std::move(channels)}});
  }
  return {{"name", bench.system},
          {"head_unit", {{"volume_steps", bench.volume_steps}}},
          {"amplifier", std::move(amplifiers)}};
}

}  // namespace

DemoRecord::DemoRecord(const Bench& bench, DemoFolder folder)
    : folder_(std::move(folder)), system_(system_of(bench)) {
  // An earlier demo's, in a folder that may be overwritten.
  std::error_code ignored;
  std::filesystem::remove(path(), ignored);
}

void DemoRecord::append(const std::string& kind, Json document, const DemoSubject& about) const {
  RecordingOptions options;
  options.file = path().string();
  options.subject = about.subject;
  options.stage = about.stage;
  options.moment = about.moment;
  options.note = about.note;
  write_down(options, kind, std::move(document), calibration_, system_);
}

void DemoRecord::add_calibration(const report::CalibrationDocument& document,
                                 const system::CalibrationRecord& calibration) {
  calibration_ = calibration_summary(calibration, "calibration.toml");
  append("calibration", report::calibration_json(document), {"", "source", "", ""});
}

void DemoRecord::add_analysis(const std::string& capture, const Recorded& recorded,
                              std::size_t channel, const judge::Limits& limits,
                              const DemoSubject& about) const {
  const auto path = folder_.capture(capture);
  report::AnalysisDocument document;
  document.file_name = name_in_folder(path);
  document.format = recorded.format;
  document.frames = recorded.frames;
  document.limits = limits;
  document.channels = {recorded.analyses[channel]};
  document.curves = {curves_of_recording(path, recorded, limits)[channel]};
  append("analysis", report::analysis_json(document), about);
}

void DemoRecord::add_verification(report::VerificationDocument document, std::size_t channel,
                                  const DemoSubject& about) const {
  for (report::VerifiedFile& file : document.files) file.name = name_in_folder(file.name);
  judge::ChannelVerification& verified = document.verification.channels[channel];
  verified.file = name_in_folder(verified.file);
  append("verification", report::verification_json(document, channel), about);
}

void DemoRecord::add_onset(const std::string& capture, std::size_t channel,
                           const judge::Limits& limits, const DemoSubject& about) const {
  const auto path = folder_.capture(capture);
  const Stepped stepped = measure_steps(path, limits, std::nullopt);
  report::OnsetDocument document;
  document.file_name = name_in_folder(path);
  document.format = stepped.format;
  document.limits.analysis = limits;
  document.found = {stepped.channels[channel].found};
  document.channels = {judge_stepped_channel(stepped, channel, document.limits)};
  append("onset", report::onset_json(document), about);
}

void DemoRecord::add_target(const electric::ChannelTarget& target,
                            const electric::Conditions& conditions,
                            const DemoSubject& about) const {
  append("target", report::target_json(std::span(&target, 1), conditions), about);
}

void DemoRecord::add_outcome(const report::DemoDocument& document) const {
  append("demo", report::demo_json(document),
         {"", "", "", "Supply as read at the amplifiers: " + format_quantity(document.supply)});
}

void DemoRecord::write_sheet() const {
  files::write_file(
      folder_.root / "sheet.html",
      report::sheet_html(system::job_record_document(system::read_job_record(path()))),
      folder_.overwrite);
}

}  // namespace railtap::command
