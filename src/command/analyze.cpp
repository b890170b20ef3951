// SPDX-License-Identifier: MIT
// `railtap analyze`: tones, and music and speech, also beside the track that was played.

#include <algorithm>
#include <cmath>
#include <iostream>
#include <memory>

#include "audio/sound_file.hpp"
#include "command/command.hpp"
#include "command/recorded.hpp"
#include "command/result_options.hpp"
#include "files/atomic_file.hpp"
#include "measure/flat_runs.hpp"
#include "measure/played_programme.hpp"
#include "report/analysis.hpp"
#include "system/kept_files.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::command {

// Music and speech in a recording.

namespace {

struct Channel {
  std::size_t index;  // from 0
  measure::PeakShapes shapes;
};

std::vector<Channel> channels_without_tone(const Recorded& recorded) {
  std::vector<Channel> channels;
  for (std::size_t c = 0; c < recorded.analyses.size(); ++c) {
    if (recorded.analyses[c].findings.verdict != judge::Verdict::no_tone) continue;
    const measure::FrameFigures& figures = recorded.measurements[c].figures;
    channels.push_back(
        {c, measure::PeakShapes(recorded.format.rate, figures.lowest, figures.highest)});
  }
  return channels;
}

void look_at_peaks(Recorded& recorded, const std::filesystem::path& path,
                   const judge::Limits& limits) {
  std::vector<Channel> channels = channels_without_tone(recorded);
  if (channels.empty()) return;
  const audio::Source source = audio::open_sound_file(path);
  const auto stride = static_cast<std::size_t>(source.format.channels);
  audio::pump(source, [&](std::span<const double> block) {
    files::throw_if_interrupted();
    for (Channel& channel : channels)
      channel.shapes.add(block.data() + channel.index, stride, block.size() / stride);
    return true;
  });
  for (const Channel& channel : channels) {
    recorded.analyses[channel.index].programme =
        judge::judge_programme(channel.shapes.positive(), channel.shapes.negative(), limits);
  }
}

// Opens a sound file as often as asked; reading it can be interrupted.
measure::OpenStream opener(const std::filesystem::path& path) {
  return [path] {
    audio::Source source = audio::open_sound_file(path);
    return measure::FrameStream{source.format.rate, source.format.channels,
                                [read = source.read](std::span<double> interleaved) {
                                  files::throw_if_interrupted();
                                  return read(interleaved);
                                }};
  };
}

// Rates between which the clock's error, and not a wrong file, makes the difference.
constexpr Hertz lowest_rate{8000.0};

void require_usable_rates(const Recorded& recorded, const std::filesystem::path& track) {
  const audio::Source source = audio::open_sound_file(track);
  if (recorded.format.rate >= lowest_rate && source.format.rate >= lowest_rate) return;
  throw Error("the sampling rate is too low to compare with the track", track.string(),
              "use files of 8 kHz and more");
}

// Music, or what overloaded the input; tones and silence are judged by themselves.
bool comparable(judge::Verdict verdict) {
  return verdict == judge::Verdict::no_tone || verdict == judge::Verdict::input_overload;
}

void compare_with_track(Recorded& recorded, const std::filesystem::path& path,
                        const judge::Limits& limits, const std::filesystem::path& track) {
  require_usable_rates(recorded, track);
  const measure::OpenStream recording = opener(path), played = opener(track);
  bool compared = false;
  for (std::size_t c = 0; c < recorded.analyses.size(); ++c) {
    judge::ChannelAnalysis& analysis = recorded.analyses[c];
    if (!comparable(analysis.findings.verdict)) continue;
    compared = true;
    const measure::FrameFigures& figures = recorded.measurements[c].figures;
    const double highest = std::max(std::abs(figures.lowest), std::abs(figures.highest));
    analysis.played = judge::judge_played(
        measure::measure_played(recording, c, recorded.frames, highest, played), limits);
  }
  if (compared) return;
  recorded.provenance.warnings.push_back("No channel holds music, so nothing was compared with " +
                                         track.string() + ".");
}

}  // namespace

void look_at_programme(Recorded& recorded, const std::filesystem::path& path,
                       const judge::Limits& limits, const std::filesystem::path& track) {
  look_at_peaks(recorded, path, limits);
  if (!track.empty()) compare_with_track(recorded, path, limits, track);
  for (judge::ChannelAnalysis& analysis : recorded.analyses) {
    if (analysis.played) {
      judge::apply(analysis.findings, analysis.programme, *analysis.played);
    } else if (analysis.programme) {
      judge::apply(analysis.findings, *analysis.programme, judge::HintAtTrack::yes);
    }
  }
}

// `railtap analyze`: everything about a steady tone, or silence, in a file.

namespace {

struct AnalyzeOptions {
  std::string file, names;
  std::string calibration;
  std::string interface;
  std::string played;
  std::optional<Volts> volts_per_full_scale;
  Percent limit{1.0};
  Hertz band_low{20.0};
  Hertz band_high{20000.0};
  std::string part;
  std::string svg;
  std::vector<std::string> compared;  // file and attenuation
  bool json = false, curves = false, force = false;
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

constexpr const char* part_option = "--part";

// "3s..20s".
std::optional<Part> part_of(const AnalyzeOptions& options) {
  if (options.part.empty()) return std::nullopt;
  const std::size_t dots = options.part.find("..");
  if (dots == std::string::npos) {
    throw Error("'" + options.part + "' is not a part of a recording", part_option,
                "give where it starts and ends, for example --part 3s..20s");
  }
  const Part part{parse_quantity<Seconds>(options.part.substr(0, dots), part_option),
                  parse_quantity<Seconds>(options.part.substr(dots + 2), part_option)};
  if (part.start >= Seconds(0.0) && part.end > part.start) return part;
  throw Error("the part '" + options.part + "' ends where it starts, or before", part_option,
              "give where it starts and ends, for example --part 3s..20s");
}

// A file that breaks off is refused, with the part of it that could be measured.
Recorded measured(const AnalyzeOptions& options, const judge::Limits& limits) {
  const auto part = part_of(options);
  try {
    return measure_recording(options.file, limits, part);
  } catch (const Error& error) {
    constexpr Seconds worth_it{0.5};
    const bool broken = error.problem().find("to its end") != std::string::npos ||
                        error.problem().find("is cut short") != std::string::npos;
    const Seconds whole = broken ? readable_length(options.file) : Seconds(0.0);
    if (whole < worth_it) throw;
    std::string end = format_fixed(Seconds(std::floor(10.0 * whole.value()) / 10.0), 1);
    std::erase(end, ' ');
    throw Error(error.problem(), error.place(),
                error.remedy() + ", or measure what can be read with --part 0s.." + end);
  }
}

// The highest level of a sine that the input is known to take: that of the tone it was calibrated
// with, or of the one that looped back.
void know_input(judge::Limits& limits, const std::optional<Dbfs>& level) {
  if (level && (!limits.input_clean_to || *level > *limits.input_clean_to))
    limits.input_clean_to = level;
}

void draw(const system::Json& document, const AnalyzeOptions& options) {
  write_pictures(document, options.svg, options.file,
                 options.force ? files::Overwrite::allow : files::Overwrite::refuse);
}

void compare_with_interface(report::AnalysisDocument& document, Recorded& recorded,
                            const AnalyzeOptions& options) {
  if (options.interface.empty()) return;
  const auto interface = system::read_loopback(options.interface);
  add_interface_warnings(recorded.provenance, interface, options.interface, recorded.format.rate);
  for (const auto& channel : recorded.analyses)
    document.own.push_back(judge::not_above(channel.findings, interface));
}

constexpr const char* compare_option = "--compare-attenuation";

Decibels attenuation_of(const AnalyzeOptions& options) {
  const auto attenuation = parse_quantity<Decibels>(options.compared.back(), compare_option);
  if (attenuation > Decibels(0.0)) return attenuation;
  throw Error(format_quantity(attenuation) + " is not an attenuation", compare_option,
              "give how much more attenuation the second recording had, in dB; if it had less, "
              "swap the files");
}

// Tells the recording input from the amplifier by a second recording with more attenuation.
void compare(report::AnalysisDocument& document, const Recorded& first,
             const AnalyzeOptions& options) {
  report::AttenuationComparison compared;
  compared.file_name = options.compared.front();
  compared.attenuation = attenuation_of(options);
  const Recorded second = measure_recording(compared.file_name, document.limits);
  tell(second.provenance.warnings);
  if (first.format.channels != second.format.channels) {
    throw Error("the recordings have " + std::to_string(first.format.channels) + " and " +
                    std::to_string(second.format.channels) + " channels",
                compared.file_name, "record both with the same channels of the same input");
  }
  compared.channels =
      judge::compare_attenuation(first.measurements, second.measurements, compared.attenuation);
  if (!judge::any_found(compared.channels)) {
    throw Error("the two recordings cannot be compared: " + compared.channels.front().obstacle,
                compared.file_name,
                "record the same steady tone twice, with more attenuation the second time and "
                "nothing else changed");
  }
  for (std::size_t c = 0; c < document.channels.size(); ++c) {
    judge::apply(document.channels[c], compared.channels[c]);
  }
  document.compared = std::move(compared);
}

void print(const report::AnalysisDocument& document, const system::Json& with_curves,
           const AnalyzeOptions& options) {
  if (!options.json) {
    std::cout << report::analysis_text(document);
  } else {
    std::cout << (options.curves ? with_curves : report::analysis_json(document)).line() << '\n';
  }
}

ExitStatus analyze(const AnalyzeOptions& options) {
  report::AnalysisDocument document;
  document.limits = resolve(options);
  check_recording(options.recording);
  std::optional<system::CalibrationRecord> calibration;
  if (!options.calibration.empty()) {
    calibration = system::read_calibration(options.calibration);
    document.limits.volts_per_full_scale = calibration->volts_per_full_scale;
    know_input(document.limits, calibration->origin.level);
  }
  if (!options.interface.empty())
    know_input(document.limits, system::read_loopback(options.interface).level);
  Recorded recorded = measured(options, document.limits);
  if (options.part.empty())
    look_at_programme(recorded, options.file, document.limits, options.played);
  if (calibration) {
    add_calibration_warnings(recorded.provenance, *calibration, options.calibration,
                             recorded.format.rate);
  }
  compare_with_interface(document, recorded, options);
  document.warnings = recorded.provenance.warnings;
  tell(document.warnings);
  document.file_name = options.file;
  document.format = recorded.format;
  document.frames = recorded.frames;
  document.channels = recorded.analyses;
  document.names = names_of_channels(options.names, options.recording, document.channels.size());
  if (!options.compared.empty()) compare(document, recorded, options);
  system::Json with_curves;
  if (options.curves || !options.svg.empty() || is_recorded(options.recording)) {
    document.curves = curves_of_recording(options.file, recorded, document.limits);
    with_curves = report::analysis_json(document);
    document.curves.clear();
  }
  if (!options.svg.empty()) draw(with_curves, options);
  print(document, with_curves, options);
  write_down(options.recording, "analysis", std::move(with_curves),
             calibration ? calibration_summary(calibration, options.calibration)
                         : calibration_summary(options.volts_per_full_scale));
  return judge::within_limits(document.channels) ? ExitStatus::within_limits
                                                 : ExitStatus::outside_limits;
}

}  // namespace

Command analyze_command() {
  auto options = std::make_shared<AnalyzeOptions>();
  Command command("analyze", "Measure a steady tone, or silence, in a recording");
  command.footer =
      "Examples:\n"
      "  railtap analyze capture.wav --volts-full-scale 40V\n"
      "  railtap analyze capture.wav --svg pictures.svg\n"
      "  railtap analyze music.wav --played track.flac\n"
      "  railtap analyze damaged.wav --part 3s..20s\n"
      "  railtap analyze clipped.wav --compare-attenuation attenuated.wav 6dB";
  command
      .text("FILE", options->file, "Recording: WAV, FLAC, AIFF, MP3 and what else libsndfile reads")
      .required();
  command.quantity("--volts-full-scale", options->volts_per_full_scale,
                   "Peak volts at the tap that reach digital full scale");
  command.text("--calibration", options->calibration, "Calibration file that `calibrate` wrote")
      .excludes("--volts-full-scale");
  command
      .text("--interface", options->interface,
            "The sound interface's own figures, as `loopback` wrote them")
      .called("FILE");
  command
      .text("--played", options->played,
            "The track that was played, for music: says what the chain added to it")
      .called("TRACK");
  command.text(part_option, options->part, "Measure only this part of the recording: start..end")
      .called("3s..20s");
  command.quantity("--limit", options->limit, "THD+N over this is distorted");
  command.quantity("--band-low", options->band_low, "Lower edge of the measuring band");
  command.quantity("--band-high", options->band_high, "Upper edge of the measuring band");
  command
      .list(compare_option, options->compared,
            "The same tone again with that much more attenuation in front of the input: "
            "says whether the input or the amplifier clips")
      .of_words(2)
      .called("FILE dB");
  add_names_option(command, options->names);
  command.flag("--json", options->json, "Print one JSON document");
  command
      .flag("--curves", options->curves,
            "With --json: folded cycle, transfer curve and spectrum, point by point")
      .needs("--json");
  command.text("--svg", options->svg, "Draw pictures: one FILE.svg, or a folder for a file each");
  command.flag("--force", options->force, "Overwrite pictures that exist");
  add_recording_options(command, options->recording);
  command.run = [options] { return analyze(*options); };
  return command;
}

}  // namespace railtap::command
