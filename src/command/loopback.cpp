// SPDX-License-Identifier: MIT
// `railtap loopback`: what the sound interface adds by itself, its output connected to its input.
#include <algorithm>
#include <iostream>
#include <memory>

#include "audio/sound_file.hpp"
#include "audio/stream.hpp"
#include "command/command.hpp"
#include "command/live_input.hpp"
#include "command/recorded.hpp"
#include "command/result_options.hpp"
#include "files/atomic_file.hpp"
#include "judge/loopback.hpp"
#include "live/sound_guide.hpp"
#include "report/calibration.hpp"
#include "system/json.hpp"
#include "system/kept_files.hpp"
#include "system/recipe.hpp"
#include "units/error.hpp"

namespace railtap::command {
namespace {

constexpr const char* track_name = "loopback";

struct LoopbackOptions {
  std::string file;
  LiveOptions live;
  std::string output_device;
  std::optional<int> channel;
  std::string output;
  bool json = false, force = false;
  RecordingOptions recording;
};

signal::Track loopback_track() {
  const signal::Kit kit =
      system::parse_recipe(signal::default_recipe_text(), "testsignals/kit.toml");
  const auto found = std::find_if(kit.tracks.begin(), kit.tracks.end(),
                                  [](const auto& track) { return track.name == track_name; });
  if (found != kit.tracks.end()) return *found;
  throw Error("the kit has no such track", track_name, "build railtap with its own kit.toml");
}

struct Heard {
  audio::StreamFormat format;
  std::vector<double> samples;  // of one channel
  Provenance provenance;
};

// The track takes a minute; ten are surely another recording.
constexpr Seconds longest{600.0};

std::size_t index_of(const LoopbackOptions& options, const audio::StreamFormat& format,
                     const std::string& place) {
  const int channel = options.channel.value_or(1);
  if (channel >= 1 && channel <= format.channels) return static_cast<std::size_t>(channel - 1);
  throw Error("there is no channel " + std::to_string(channel), place,
              "give --channel from 1 to " + std::to_string(format.channels));
}

Heard hear(const LoopbackOptions& options, const std::filesystem::path& path) {
  const audio::Source source = audio::open_sound_file(path);
  Heard heard{source.format, {}, {}};
  const std::size_t first = index_of(options, source.format, path.string());
  const auto stride = static_cast<std::size_t>(source.format.channels);
  const auto most = static_cast<std::size_t>(longest.value() * source.format.rate.value());
  const std::int64_t frames = audio::pump(source, [&](std::span<const double> block) {
    files::throw_if_interrupted();
    for (std::size_t i = first; i < block.size(); i += stride) heard.samples.push_back(block[i]);
    return heard.samples.size() <= most;
  });
  if (heard.samples.size() > most) {
    throw Error("the recording is longer than ten minutes", path.string(),
                "record the loop-back track only");
  }
  heard.provenance = provenance_of(path, source, frames);
  return heard;
}

// Figures that others are held against must not come from a recording with holes.
void require_no_loss(const Provenance& provenance, const std::filesystem::path& path) {
  const auto& sidecar = provenance.sidecar;
  if (!sidecar || (sidecar->gaps.empty() && sidecar->driver_overflows == 0)) return;
  throw Error("samples were lost while it was recorded", path.string(), "record it again");
}

electric::SoundInterface measure(const LoopbackOptions& options,
                                 const std::filesystem::path& path) {
  const Heard heard = hear(options, path);
  require_no_loss(heard.provenance, path);
  tell(heard.provenance.warnings);
  auto interface = judge::judge_loopback(heard.samples, heard.format.rate, heard.format.code_step,
                                         path.string());
  if (heard.provenance.sidecar) interface.device = heard.provenance.sidecar->device;
  interface.date = system::utc_now();
  return interface;
}

electric::SoundInterface play_and_measure(const LoopbackOptions& options) {
  constexpr Seconds behind{2.5};  // what is still under way when the last sample was handed over
  audio::InputStream input(options.live.input);
  LiveRecording recording(options.live,
                          options.force ? files::Overwrite::allow : files::Overwrite::refuse);
  const live::Playback playback(loopback_track(), options.output_device, input.format().rate);
  std::cerr << "Playing on '" << playback.device()
            << "': nothing but a cable from that output to this input, no speakers.\n";
  recording.record(input, playback.length() + behind);
  if (!playback.whole()) {
    throw Error("the playback was interrupted", playback.device(),
                "close other programs that keep the computer busy, and try again");
  }
  return measure(options, recording.path());
}

void check_output(const LoopbackOptions& options) {
  if (options.output.empty() || options.force || !std::filesystem::exists(options.output)) return;
  throw Error("the file exists", options.output, "give another name, or --force to overwrite it");
}

ExitStatus run(const LoopbackOptions& options) {
  check_output(options);
  check_recording(options.recording);
  const auto interface =
      options.file.empty() ? play_and_measure(options) : measure(options, options.file);
  if (!options.output.empty()) {
    system::write_loopback(options.output, interface,
                           options.force ? files::Overwrite::allow : files::Overwrite::refuse);
    std::cerr << "wrote " << options.output << '\n';
  }
  const bool wanted = options.json || is_recorded(options.recording);
  system::Json json = wanted ? system::loopback_json(interface) : system::Json();
  std::cout << (options.json ? json.page() : report::loopback_report(interface));
  write_down(options.recording, "loopback", std::move(json));
  return ExitStatus::within_limits;
}

void add_options(Command& command, LoopbackOptions& options) {
  command.text("FILE", options.file,
               "Recording of the kit's track `loopback`; none: play and record");
  command
      .text("--device", options.live.input.device,
            "Live: input, its number or part of its name, see `railtap devices`")
      .excludes("FILE");
  command
      .text("--output-device", options.output_device,
            "Live: output, part of its name (default: the system's)")
      .excludes("FILE");
  add_live_options(command, options.live);
  command.number("--channel", options.channel, "Channel of the recording (default: 1)");
  command.text("--output", options.output, "Write the figures to a file (JSON)").called("FILE");
  command.flag("--force", options.force, "Overwrite files that exist");
  command.flag("--json", options.json, "Print one JSON document (railtap.loopback/1)");
  add_recording_options(command, options.recording);
}

}  // namespace

Command loopback_command() {
  auto options = std::make_shared<LoopbackOptions>();
  Command command("loopback",
                  "Measure the sound interface itself, its output connected to its input");
  command.footer =
      "Example:\n"
      "  railtap tones stick --tone loopback --bits 24 --rate 48kHz --force\n"
      "  railtap loopback stick/25_loopback.wav --output interface.json --force\n"
      "There the track itself is a perfect interface.\n"
      "Live: a cable from output to input, then railtap loopback --device 1 --output i.json\n"
      "Caution: the output is played at nearly full level; no headphones, no speakers.";
  add_options(command, *options);
  command.run = [options] { return run(*options); };
  return command;
}

}  // namespace railtap::command
