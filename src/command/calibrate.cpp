// SPDX-License-Identifier: MIT
// `railtap calibrate`: ties a recording of a steady tone to a meter's reading of it.
#include <filesystem>
#include <iostream>
#include <memory>
#include <numbers>
#include <string>

#include "command/command.hpp"
#include "command/live_input.hpp"
#include "command/recorded.hpp"
#include "command/result_options.hpp"
#include "electric/calibration.hpp"
#include "judge/calibration_tone.hpp"
#include "report/calibration.hpp"
#include "system/json.hpp"
#include "system/kept_files.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::command {
namespace {

struct CalibrateOptions {
  std::string file, reading, meter, output, device, divider, interface;
  LiveOptions live;
  Seconds length{5.0};           // of what is recorded live
  std::optional<Volts> nominal;  // RMS of the sine that fills the input
  Decibels nominal_tolerance = electric::usual_deviation;
  std::optional<int> channel;
  bool json = false, force = false;
  RecordingOptions recording;
};

struct Captured {
  Hertz rate;
  judge::CalibrationCapture tone;
  Provenance provenance;
  std::optional<Hertz> coupling_corner;  // of the input, where it is known
};

Captured captured(const CalibrateOptions& options, const std::filesystem::path& file) {
  const Recorded recorded = measure_recording(file, {});
  const auto channels = static_cast<int>(recorded.analyses.size());
  if (options.channel && (*options.channel < 1 || *options.channel > channels)) {
    throw Error("there is no channel " + std::to_string(*options.channel), file.string(),
                "give --channel from 1 to " + std::to_string(channels));
  }
  const int channel = options.channel.value_or(judge::loudest_channel(recorded.analyses));
  const auto index = static_cast<std::size_t>(channel - 1);
  const Hertz rate = recorded.format.rate;
  return {rate,
          judge::calibration_capture(recorded.measurements[index], recorded.analyses[index], rate,
                                     file.string()),
          recorded.provenance,
          {}};
}

// Live, the device is where the tone comes from; with a file it is a name for the calibration.
Captured recorded_live(const CalibrateOptions& options) {
  LiveOptions live = options.live;
  live.input.device = options.device;
  audio::InputStream input(live.input);
  LiveRecording recording(live, options.force ? files::Overwrite::allow : files::Overwrite::refuse);
  recording.record(input, require_positive(options.length, "--seconds"));
  return captured(options, recording.path());
}

// A calibration of one input is not corrected by another's coupling unnoticed.
std::optional<Hertz> corner_of(const CalibrateOptions& options, Captured& capture) {
  if (options.interface.empty()) return std::nullopt;
  const auto interface = system::read_loopback(options.interface);
  add_interface_warnings(capture.provenance, interface, options.interface, capture.rate);
  return interface.coupling_corner;
}

electric::CalibrationTone tone_of(const CalibrateOptions& options, const Captured& capture) {
  electric::CalibrationTone tone;
  tone.rms_fs = capture.tone.rms_fs;
  tone.form_factor = capture.tone.form_factor;
  tone.level_spread = capture.tone.level_spread;
  tone.frequency = capture.tone.frequency;
  tone.reading = require_positive(parse_quantity<Volts>(options.reading, "--reading"), "--reading");
  tone.typed_digit = electric::last_digit(options.reading, "--reading");
  if (!options.meter.empty()) tone.meter = electric::parse_meter(options.meter, "--meter");
  tone.coupling_corner = capture.coupling_corner;
  return tone;
}

std::optional<std::string> given(const std::string& text) {
  return text.empty() ? std::nullopt : std::optional(text);
}

system::CalibrationRecord record_of(const CalibrateOptions& options, const Captured& capture,
                                    const report::CalibrationDocument& document) {
  system::CalibrationRecord record;
  record.volts_per_full_scale = document.found.volts_per_full_scale;
  record.uncertainty = document.found.uncertainty;
  auto& origin = record.origin;
  origin.date = system::utc_now();
  const bool live = options.file.empty();  // then --device may be a number
  const std::filesystem::path recording = live ? options.live.keep : options.file;
  origin.recording = given(recording.filename().string());
  if (!live) origin.device = given(options.device);
  if (!origin.device && capture.provenance.sidecar)
    origin.device = capture.provenance.sidecar->device;
  origin.channel = capture.tone.channel;
  origin.sample_rate = capture.rate;
  origin.tone = capture.tone.frequency;
  origin.level = capture.tone.level;
  origin.reading = document.reading;
  if (document.meter) origin.meter = electric::describe(*document.meter);
  origin.divider = given(options.divider);
  if (document.nominal) origin.nominal = document.nominal->nominal;
  return record;
}

report::CalibrationDocument document_of(const CalibrateOptions& options, const Captured& capture) {
  const electric::CalibrationTone tone = tone_of(options, capture);
  report::CalibrationDocument document{capture.tone,
                                       tone.reading,
                                       {},
                                       tone.meter,
                                       electric::calibrate(tone),
                                       {},
                                       capture.coupling_corner,
                                       {}};
  document.full_scale_rms = document.found.volts_per_full_scale / std::numbers::sqrt2;
  if (options.nominal) {
    document.nominal = electric::compare_with_nominal(
        document.found, *options.nominal * std::numbers::sqrt2, options.nominal_tolerance);
  }
  document.warnings = capture.provenance.warnings;
  return document;
}

/// Mistakes on the command line are told before a long recording is read.
void check_options(const CalibrateOptions& options) {
  if (options.nominal) require_positive(*options.nominal, "--nominal");
  require_not_negative(options.nominal_tolerance, "--nominal-tolerance");
  require_positive(parse_quantity<Volts>(options.reading, "--reading"), "--reading");
  if (!options.meter.empty()) (void)electric::parse_meter(options.meter, "--meter");
  if (!options.output.empty() && !options.force && std::filesystem::exists(options.output)) {
    throw Error("the file exists", options.output, "give another name, or --force to overwrite it");
  }
}

ExitStatus run(const CalibrateOptions& options) {
  check_options(options);
  check_recording(options.recording);
  Captured capture =
      options.file.empty() ? recorded_live(options) : captured(options, options.file);
  capture.coupling_corner = corner_of(options, capture);
  tell(capture.provenance.warnings);
  const auto document = document_of(options, capture);
  if (!options.output.empty()) {
    system::write_calibration(options.output, record_of(options, capture, document),
                              options.force ? files::Overwrite::allow : files::Overwrite::refuse);
    std::cerr << "wrote " << options.output << '\n';
  }
  const bool wanted = options.json || is_recorded(options.recording);
  system::Json json = wanted ? report::calibration_json(document) : system::Json();
  std::cout << (options.json ? json.page() : report::calibration_report(document));
  write_down(options.recording, "calibration", std::move(json));
  const bool plausible = !document.nominal || document.nominal->plausible;
  return plausible ? ExitStatus::within_limits : ExitStatus::outside_limits;
}

void add_options(Command& command, CalibrateOptions& options) {
  command.text("FILE", options.file, "Recording of the steady tone; none: record it from --device");
  command.text("--reading", options.reading, "AC volts read while it was recorded")
      .required()
      .called("V");
  command.text("--meter", options.meter,
               "The meter: accuracy, then as known last digit or counts, type, AC band");
  command.number("--channel", options.channel, "Channel of the recording; else the loudest tone")
      .called("N");
  command.quantity("--nominal", options.nominal,
                   "RMS voltage of a sine at full scale, as the attenuator command prints it");
  command.quantity("--nominal-tolerance", options.nominal_tolerance,
                   "How far the result may be from it");
  command.text("--device", options.device,
               "Live: the input, see `railtap devices`; with FILE a name for the file");
  command.quantity("--seconds", options.length, "Live: how long to record");
  add_live_options(command, options.live);
  command
      .text("--interface", options.interface,
            "The input's own figures, as `loopback` wrote them: corrects for its coupling")
      .called("FILE");
  command.text("--divider", options.divider, "The tap's parts, for the file");
  command.text("--output", options.output, "Write a calibration file (TOML)").called("FILE");
  command.flag("--force", options.force, "Overwrite the calibration file if it exists");
  command.flag("--json", options.json, "Print one JSON document (railtap.calibration/1)");
  add_recording_options(command, options.recording);
}

}  // namespace

Command calibrate_command() {
  Command command("calibrate", "Calibrate a recording input by a meter's reading of a steady tone");
  auto options = std::make_shared<CalibrateOptions>();
  add_options(command, *options);
  command.footer =
      "Example:\n"
      "  railtap calibrate tone.wav --reading 3.52V --meter \"1.2%+5, average, 400Hz\" \\\n"
      "    --output tap.toml\n"
      "Live, while the tone plays: calibrate --device 1 --reading 3.52V --output tap.toml\n"
      "Exit status: 0 done, 1 far from --nominal, 2 when the tone is not suitable.";
  command.run = [options] { return run(*options); };
  return command;
}

}  // namespace railtap::command
