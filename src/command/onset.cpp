// SPDX-License-Identifier: MIT
// `railtap onset`: where on the way up clipping begins, and in which stage.
#include <algorithm>
#include <iostream>
#include <memory>

#include "command/command.hpp"
#include "command/result_options.hpp"
#include "command/stepped.hpp"
#include "judge/sentence.hpp"
#include "judge/stage.hpp"
#include "report/onset.hpp"
#include "system/kept_files.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::command {
namespace {

struct OnsetOptions {
  std::string file, names;
  std::string before;
  std::optional<int> before_channel;
  std::optional<Dbfs> from, to;
  std::optional<Decibels> step;
  std::string calibration;
  std::optional<Volts> volts_per_full_scale;
  Percent limit{1.0};
  std::string svg;
  bool json = false, force = false;
  RecordingOptions recording;
};

std::optional<LadderOptions> ladder_of(const OnsetOptions& options) {
  const int given =
      int{options.from.has_value()} + int{options.to.has_value()} + int{options.step.has_value()};
  if (given == 0) return std::nullopt;
  if (given < 3) {
    throw Error("a ladder needs all three of --from, --to and --step",
                !options.from ? "--from" : (!options.to ? "--to" : "--step"),
                "for example --from -40dB --to 0dB --step 1dB");
  }
  return LadderOptions{*options.from, *options.to, require_positive(*options.step, "--step")};
}

using Calibration = std::optional<system::CalibrationRecord>;

Calibration calibration_of(const OnsetOptions& options) {
  if (options.calibration.empty()) return std::nullopt;
  return system::read_calibration(options.calibration);
}

judge::OnsetLimits limits_of(const OnsetOptions& options, const Calibration& calibration) {
  judge::OnsetLimits limits;
  limits.analysis.thdn = require_positive(options.limit, "--limit");
  if (options.volts_per_full_scale) {
    limits.analysis.volts_per_full_scale =
        require_positive(*options.volts_per_full_scale, "--volts-full-scale");
  }
  if (calibration) limits.analysis.volts_per_full_scale = calibration->volts_per_full_scale;
  return limits;
}

// The channel that a channel of the amplifier's recording is compared with: the same one, or the
// only one.
const judge::ChannelOnset& counterpart(const std::vector<judge::ChannelOnset>& before,
                                       std::size_t channel) {
  return before[std::min(channel, before.size() - 1)];
}

// What speaks against trusting one of the recordings.
void warn_of(report::OnsetDocument& document, const Stepped& stepped, const OnsetOptions& options) {
  Provenance provenance = stepped.provenance;
  if (!options.calibration.empty()) {
    add_calibration_warnings(provenance, system::read_calibration(options.calibration),
                             options.calibration, stepped.format.rate);
  }
  tell(provenance.warnings);
  auto& all = document.warnings;
  all.insert(all.end(), provenance.warnings.begin(), provenance.warnings.end());
}

void compare_with_file(report::OnsetDocument& document, const OnsetOptions& options) {
  const Stepped head = measure_steps(options.before, document.limits.analysis, ladder_of(options));
  warn_of(document, head, options);
  const auto before = judge_stepped(head, document.limits);
  document.before_name = options.before;
  for (std::size_t c = 0; c < document.channels.size(); ++c) {
    document.stages.push_back(judge::compare_stages(counterpart(before, c), document.channels[c]));
  }
}

void compare_with_channel(report::OnsetDocument& document, int channel) {
  if (channel < 1 || channel > static_cast<int>(document.channels.size())) {
    throw Error("the recording has no channel " + std::to_string(channel), "--before-channel",
                "it has " + std::to_string(document.channels.size()));
  }
  document.before_name = judge::channel_called(document.names, channel);
  const judge::ChannelOnset before = document.channels[static_cast<std::size_t>(channel - 1)];
  for (const auto& after : document.channels) {
    document.stages.push_back(judge::compare_stages(before, after));
  }
  // It is not compared with itself.
  const auto at = static_cast<std::ptrdiff_t>(channel - 1);
  document.stages.erase(document.stages.begin() + at);
  document.channels.erase(document.channels.begin() + at);
  document.found.erase(document.found.begin() + at);
}

bool clean(const judge::ChannelOnset& channel) {
  return channel.verdict == judge::OnsetVerdict::clean_throughout ||
         channel.verdict == judge::OnsetVerdict::no_ladder;
}

bool no_ladder(const judge::ChannelOnset& channel) {
  return channel.verdict == judge::OnsetVerdict::no_ladder;
}

// A recording that has the head unit's output beside the amplifier's holds more than the subject's
// channels: the record's names would not fit.
std::vector<std::string> names_for(const OnsetOptions& options, std::size_t channels) {
  return names_of_channels(
      options.names, options.before_channel ? RecordingOptions{} : options.recording, channels);
}

ExitStatus onset(const OnsetOptions& options) {
  report::OnsetDocument document;
  check_recording(options.recording);
  const Calibration calibration = calibration_of(options);
  document.limits = limits_of(options, calibration);
  document.file_name = options.file;
  const Stepped stepped = measure_steps(options.file, document.limits.analysis, ladder_of(options));
  document.format = stepped.format;
  warn_of(document, stepped, options);
  document.channels = judge_stepped(stepped, document.limits);
  document.names = names_for(options, document.channels.size());
  for (const SteppedChannel& channel : stepped.channels) document.found.push_back(channel.found);
  if (!options.before.empty()) compare_with_file(document, options);
  if (options.before_channel) compare_with_channel(document, *options.before_channel);
  const bool wanted = options.json || !options.svg.empty() || is_recorded(options.recording);
  system::Json json = wanted ? report::onset_json(document) : system::Json();
  std::cout << (options.json ? json.line() + "\n" : report::onset_text(document));
  const auto& channels = document.channels;
  if (std::all_of(channels.begin(), channels.end(), no_ladder)) {
    throw Error("no steps of rising level with a steady tone were found", options.file,
                "record a ladder from `railtap tones`, or turn the volume up step by step and stay "
                "a second on each");
  }
  if (!options.svg.empty()) {
    write_pictures(json, options.svg, options.file,
                   options.force ? files::Overwrite::allow : files::Overwrite::refuse);
  }
  write_down(options.recording, "onset", std::move(json),
             calibration ? calibration_summary(calibration, options.calibration)
                         : calibration_summary(options.volts_per_full_scale));
  return std::all_of(channels.begin(), channels.end(), clean) ? ExitStatus::within_limits
                                                              : ExitStatus::outside_limits;
}

}  // namespace

Command onset_command() {
  auto options = std::make_shared<OnsetOptions>();
  Command command("onset", "Find where clipping begins in a level ladder or a rising level");
  command.footer =
      "Examples:\n"
      "  railtap onset ladder.wav --volts-full-scale 40V\n"
      "  railtap onset ladder.wav --svg ladder.svg\n"
      "  railtap onset amplifier.wav --before headunit.wav --from -40dB --to 0dB --step 1dB\n"
      "Exit status: 0 clean throughout, 1 when it clips or compresses.";
  command.text("FILE", options->file, "Recording of the ladder, or of the rising volume")
      .required();
  command.quantity("--from", options->from, "Level of the ladder's first step as played");
  command.quantity("--to", options->to, "Level of its last step");
  command.quantity("--step", options->step, "Decibels from step to step");
  command.text("--before", options->before,
               "The same ladder recorded in front of the amplifier: says which stage clips first");
  command
      .number("--before-channel", options->before_channel,
              "The channel of FILE that was recorded in front of the amplifier")
      .excludes("--before");
  command.quantity("--volts-full-scale", options->volts_per_full_scale,
                   "Peak volts at the tap that reach digital full scale");
  command.text("--calibration", options->calibration, "Calibration file that `calibrate` wrote")
      .excludes("--volts-full-scale");
  command.quantity("--limit", options->limit, "THD+N at which it counts as distorted");
  add_names_option(command, options->names);
  command.flag("--json", options->json, "Print one JSON document (railtap.onset/1)");
  command.text("--svg", options->svg, "Draw pictures: one FILE.svg, or a folder for a file each");
  command.flag("--force", options->force, "Overwrite pictures that exist");
  add_recording_options(command, options->recording);
  command.run = [options] { return onset(*options); };
  return command;
}

}  // namespace railtap::command
