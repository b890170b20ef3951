// SPDX-License-Identifier: MIT
// `railtap verify`: channels, polarity, response and hiss from the verification tracks.
#include <iostream>
#include <memory>

#include "command/command.hpp"
#include "command/result_options.hpp"
#include "command/verify_capture.hpp"
#include "system/kept_files.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

struct VerifyOptions {
  std::string file;
  std::optional<std::string> second_file;
  std::string calibration, interface, expect, names, source = "speaker-level";
  std::optional<Volts> volts_per_full_scale;
  std::optional<Decibels> sensitivity;
  std::optional<std::string> gain_position;
  Decibels match{1.0}, crosstalk{-30.0}, quiet{30.0};
  bool allow_filters = false, json = false;
  RecordingOptions recording;
};

judge::Carries carries_of(const std::string& word) {
  if (word == "left") return judge::Carries::left;
  if (word == "right") return judge::Carries::right;
  if (word == "both") return judge::Carries::both;
  throw Error("a channel cannot carry '" + word + "'", "--expect",
              "give left, right or both for each channel, for example --expect left,right");
}

std::vector<judge::Carries> expected_of(const std::string& text) {
  std::vector<judge::Carries> list;
  for (const std::string& word : split_at_commas(text)) list.push_back(carries_of(word));
  return list;
}

/// The share of its travel, from "20%" or "0.2".
double gain_position_of(const std::string& text) {
  const double number = parse_quantity<Percent>(text, "--gain-position").value();
  const double share = text.ends_with('%') ? number / 100.0 : number;
  if (share >= 0.0 && share <= 1.0) return share;
  throw Error("the gain control's position is not between 0 and 1", "--gain-position",
              "give the share of its travel, for example --gain-position 30%");
}

judge::VerificationLimits limits_of(const VerifyOptions& options) {
  judge::VerificationLimits limits;
  limits.expected = expected_of(options.expect);
  limits.filters_allowed = options.allow_filters;
  limits.match = require_positive(options.match, "--match");
  limits.separation = require_not_negative(-options.crosstalk, "--crosstalk");
  limits.quiet_cabin = require_within(options.quiet, Decibels(0.0), Decibels(100.0), "--quiet");
  if (options.sensitivity) {
    limits.sensitivity =
        require_within(*options.sensitivity, Decibels(50.0), Decibels(130.0), "--sensitivity");
  }
  if (options.gain_position) limits.gain_position = gain_position_of(*options.gain_position);
  limits.source = options.source == "line-level" ? judge::SourceKind::line_level
                                                 : judge::SourceKind::speaker_level;
  if (options.volts_per_full_scale) {
    limits.volts_per_full_scale =
        require_positive(*options.volts_per_full_scale, "--volts-full-scale");
  }
  return limits;
}

// An interface's own response, where its file was given and holds one.
std::optional<electric::SoundInterface> interface_of(const VerifyOptions& options) {
  if (options.interface.empty()) return std::nullopt;
  electric::SoundInterface interface = system::read_loopback(options.interface);
  const auto& response = interface.response;
  constexpr Hertz reference{1000.0};  // what its response is taken relative to
  if (response.empty() || response.front().frequency > reference ||
      response.back().frequency < reference) {
    throw Error("the loop-back file holds no response around 1 kHz", options.interface,
                "make it again with railtap loopback");
  }
  return interface;
}

ExitStatus verify(const VerifyOptions& options) {
  check_recording(options.recording);
  report::VerificationDocument document;
  document.limits = limits_of(options);
  std::optional<system::CalibrationRecord> calibration;
  if (!options.calibration.empty()) {
    calibration = system::read_calibration(options.calibration);
    document.limits.volts_per_full_scale = calibration->volts_per_full_scale;
  }
  const auto interface = interface_of(options);
  document.interface_file = options.interface;
  std::vector<judge::ChannelMeasurements> channels;
  std::vector<std::string> files{options.file};
  if (options.second_file) files.push_back(*options.second_file);
  for (const std::string& file : files) {
    VerifyCapture capture = measure_verification(file, static_cast<int>(channels.size()) + 1);
    if (calibration) {
      add_calibration_warnings(capture.provenance, *calibration, options.calibration,
                               capture.file.format.rate);
    }
    if (interface) {
      add_interface_warnings(capture.provenance, *interface, options.interface,
                             capture.file.format.rate);
    }
    tell(capture.provenance.warnings);
    for (const auto& warning : capture.provenance.warnings) document.warnings.push_back(warning);
    document.files.push_back(std::move(capture.file));
    for (auto& channel : capture.channels) channels.push_back(std::move(channel));
  }
  const auto names = names_of_channels(options.names, options.recording, channels.size());
  for (std::size_t c = 0; c < names.size(); ++c) channels[c].name = names[c];
  document.verification =
      judge::judge_verification(channels, interface ? &*interface : nullptr, document.limits);
  const bool wanted = options.json || is_recorded(options.recording);
  const system::Json json = wanted ? report::verification_json(document) : system::Json();
  write_down(options.recording, "verification", json,
             calibration ? calibration_summary(calibration, options.calibration)
                         : calibration_summary(options.volts_per_full_scale));
  std::cout << (options.json ? json.line() + "\n" : report::verification_text(document));
  return document.verification.within_limits() ? ExitStatus::within_limits
                                               : ExitStatus::outside_limits;
}

void add_limits(Command& command, VerifyOptions& options) {
  command.text("--expect", options.expect,
               "What each channel should carry: left, right or both, separated by commas "
               "[left,right for two channels]");
  add_names_option(command, options.names);
  command.flag("--allow-filters", options.allow_filters,
               "High-pass and low-pass filters are meant to be on");
  command.quantity("--match", options.match, "Left and right may differ by this");
  command.quantity("--crosstalk", options.crosstalk, "Highest crosstalk that is accepted");
  command.quantity("--quiet", options.quiet, "Highest hiss that is accepted, dB(A) at 1 m");
}

void add_hiss_options(Command& command, VerifyOptions& options) {
  command.quantity("--volts-full-scale", options.volts_per_full_scale,
                   "Peak volts at the tap that reach digital full scale");
  command.text("--calibration", options.calibration, "Calibration file that `calibrate` wrote")
      .excludes("--volts-full-scale");
  command
      .text("--interface", options.interface,
            "The sound interface's own figures, as `loopback` wrote them: its response is "
            "taken out, and its noise")
      .called("FILE");
  command.quantity("--sensitivity", options.sensitivity,
                   "The speaker's, dB at 2.83 V and 1 m: predicts how loud the hiss is");
  command.text("--gain-position", options.gain_position,
               "Position of the gain control: 20% of its travel, or 0.2");
  command.text("--source", options.source, "What feeds the amplifier: speaker-level, line-level")
      .one_of({"speaker-level", "line-level"})
      .defaulting_to(options.source);
}

}  // namespace

Command verify_command() {
  auto options = std::make_shared<VerifyOptions>();
  Command command("verify", "Channels, polarity, response and hiss from the verification tracks");
  command.footer =
      "Example:\n  railtap tones kit --tone verify\n"
      "  railtap verify kit/*_verify.wav --volts-full-scale 47V --sensitivity 89dB\n"
      "Exit status: 0 no fault found, 1 a fault was found, or something could not be decided, 2 "
      "could "
      "not do it.";
  command
      .text("FILE", options->file,
            "Recording of the tracks verify, verify-bass and stepped-bass, one or several "
            "in a row")
      .required();
  command.text("FILE2", options->second_file,
               "The right channel, where FILE holds the left one only");
  add_limits(command, *options);
  add_hiss_options(command, *options);
  add_recording_options(command, options->recording);
  command.flag("--json", options->json, "Print one JSON document (railtap.verification/1)");
  command.run = [options] { return verify(*options); };
  return command;
}

}  // namespace railtap::command
