// SPDX-License-Identifier: MIT
// `railtap analyze`: everything about a steady tone, or silence, in a file.
#include <CLI/CLI.hpp>
#include <iostream>
#include <memory>

#include "command/command.hpp"
#include "command/options.hpp"
#include "command/recorded.hpp"
#include "command/recording_options.hpp"
#include "report/analysis.hpp"
#include "system/calibration_file.hpp"
#include "units/error.hpp"

namespace railtap::command {
namespace {

struct AnalyzeOptions {
  std::string file;
  std::string calibration;
  std::optional<Volts> volts_per_full_scale;
  Percent limit{1.0};
  Hertz band_low{20.0};
  Hertz band_high{20000.0};
  bool json = false;
  RecordingOptions recording;
};

judge::Limits resolve(const AnalyzeOptions& options) {
  require_positive(options.limit, "--limit");
  require_positive(options.band_low, "--band-low");
  if (options.volts_per_full_scale)
    require_positive(*options.volts_per_full_scale, "--volts-full-scale");
  if (options.band_high <= options.band_low) {
    throw Error("the band ends at or below where it starts", "--band-high",
                "give a higher frequency than --band-low, for example --band-high 20kHz");
  }
  return {options.limit, options.volts_per_full_scale, {options.band_low, options.band_high}};
}

ExitStatus analyze(const AnalyzeOptions& options) {
  report::AnalysisDocument document;
  document.limits = resolve(options);
  check_recording(options.recording);
  std::optional<system::CalibrationRecord> calibration;
  if (!options.calibration.empty()) {
    calibration = system::read_calibration(options.calibration);
    document.limits.volts_per_full_scale = calibration->volts_per_full_scale;
  }
  Recorded recorded = measure_recording(options.file, document.limits);
  if (calibration) {
    add_calibration_warnings(recorded.provenance, *calibration, options.calibration,
                             recorded.format.rate);
  }
  document.warnings = recorded.provenance.warnings;
  tell(document.warnings);
  document.file_name = options.file;
  document.format = recorded.format;
  document.frames = recorded.frames;
  document.channels = recorded.analyses;
  std::cout << (options.json ? report::analysis_json(document) + "\n"
                             : report::analysis_text(document));
  write_down(options.recording, "analysis", report::analysis_json(document),
             calibration ? calibration_summary(calibration, options.calibration)
                         : calibration_summary(options.volts_per_full_scale));
  return judge::within_limits(document.channels) ? ExitStatus::within_limits
                                                 : ExitStatus::outside_limits;
}

}  // namespace

void add_analyze(CLI::App& app, ExitStatus& status) {
  auto options = std::make_shared<AnalyzeOptions>();
  auto* command =
      app.add_subcommand("analyze", "Measure a steady tone, or silence, in a recording");
  command->footer("Example:\n  railtap analyze capture.wav --volts-full-scale 40V");
  command
      ->add_option("FILE", options->file,
                   "Recording: WAV, FLAC, AIFF, MP3 and what else libsndfile reads")
      ->required();
  auto* volts = add_quantity(*command, "--volts-full-scale", options->volts_per_full_scale,
                             "Peak volts at the tap that reach digital full scale");
  command
      ->add_option("--calibration", options->calibration, "Calibration file that `calibrate` wrote")
      ->excludes(volts);
  add_quantity(*command, "--limit", options->limit, "THD+N over this is distorted");
  add_quantity(*command, "--band-low", options->band_low, "Lower edge of the measuring band");
  add_quantity(*command, "--band-high", options->band_high, "Upper edge of the measuring band");
  command->add_flag("--json", options->json, "Print one JSON document");
  add_recording_options(*command, options->recording);
  command->callback([options, &status] { status = analyze(*options); });
}

}  // namespace railtap::command
