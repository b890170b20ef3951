// SPDX-License-Identifier: MIT
// `railtap analyze`: everything about a steady tone, or silence, in a file.
#include <CLI/CLI.hpp>
#include <iostream>
#include <memory>

#include "audio/pump.hpp"
#include "audio/sound_file.hpp"
#include "command/command.hpp"
#include "command/options.hpp"
#include "files/interrupt.hpp"
#include "judge/analysis.hpp"
#include "measure/recording.hpp"
#include "report/analysis.hpp"
#include "units/error.hpp"

namespace railtap::command {
namespace {

struct AnalyzeOptions {
  std::string file;
  std::optional<Volts> volts_per_full_scale;
  Percent limit{1.0};
  Hertz band_low{20.0};
  Hertz band_high{20000.0};
  bool json = false;
};

// AES17 asks for steady tones of seconds; under this no figure would hold.
constexpr Seconds shortest_recording{0.15};

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

void require_length(std::int64_t frames, Hertz rate, const std::string& file) {
  const double seconds = static_cast<double>(frames) / rate.value();
  if (seconds >= shortest_recording.value()) return;
  throw Error("the recording is too short to measure: " + format_quantity(Seconds(seconds), 3),
              file, "record at least 0.5 s of the steady tone");
}

ExitStatus analyze(const AnalyzeOptions& options) {
  report::AnalysisDocument document;
  document.limits = resolve(options);
  const audio::Source source = audio::open_sound_file(options.file);
  document.file_name = options.file;
  document.format = source.format;

  measure::RecordingMeter meter(source.format.rate, source.format.channels,
                                {document.limits.band, source.format.code_step});
  document.frames = audio::pump(source, [&](std::span<const double> block) {
    files::throw_if_interrupted();
    meter.add(block);
    return true;
  });
  require_length(document.frames, source.format.rate, options.file);
  int channel = 1;
  for (const auto& recording : meter.finish()) {
    document.channels.push_back(
        judge::judge_channel(channel++, recording, source.format.rate, document.limits));
  }
  std::cout << (options.json ? report::analysis_json(document) + "\n"
                             : report::analysis_text(document));
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
  add_quantity(*command, "--volts-full-scale", options->volts_per_full_scale,
               "Peak volts at the tap that reach digital full scale");
  add_quantity(*command, "--limit", options->limit, "THD+N over this is distorted");
  add_quantity(*command, "--band-low", options->band_low, "Lower edge of the measuring band");
  add_quantity(*command, "--band-high", options->band_high, "Upper edge of the measuring band");
  command->add_flag("--json", options->json, "Print one JSON document");
  command->callback([options, &status] { status = analyze(*options); });
}

}  // namespace railtap::command
