// SPDX-License-Identifier: MIT
// Writing the demo's files.
#include "command/demo_folder.hpp"

#include <system_error>
#include <vector>

#include "audio/sound_file.hpp"
#include "files/interrupt.hpp"
#include "report/analysis.hpp"
#include "signal/generator.hpp"
#include "signal/noise.hpp"
#include "units/error.hpp"

namespace railtap::command {
namespace {

constexpr Hertz tone_rate{48000.0};
constexpr std::size_t block_frames = 4096;
constexpr double code_step = 0x1p-23;  // 24 bits

void create(const std::filesystem::path& folder) {
  std::error_code failure;
  std::filesystem::create_directories(folder, failure);
  if (failure) {
    throw Error("the folder cannot be created: " + failure.message(), folder.string(),
                "name a folder in a place that can be written");
  }
}

}  // namespace

std::filesystem::path DemoFolder::tone(const std::string& name) const {
  return root / "tones" / (name + ".wav");
}
std::filesystem::path DemoFolder::capture(const std::string& name) const {
  return root / "captures" / (name + ".wav");
}
std::filesystem::path DemoFolder::result(const std::string& name) const {
  return root / "results" / (name + ".json");
}

DemoFolder open_demo_folder(const std::filesystem::path& root, files::Overwrite overwrite) {
  std::error_code failure;
  const bool holds_something =
      std::filesystem::exists(root, failure) && !std::filesystem::is_empty(root, failure);
  if (holds_something && overwrite == files::Overwrite::refuse) {
    throw Error("the folder is not empty", root.string(),
                "name a new one, or give --force to overwrite what the demo writes");
  }
  for (const char* part : {"tones", "captures", "results"}) create(root / part);
  return {root, files::Overwrite::allow};
}

std::filesystem::path write_tone(const DemoFolder& folder, const signal::Track& track) {
  audio::SoundFileSpec spec;
  spec.rate = tone_rate;
  spec.channels = 2;
  spec.title = track.title;
  spec.comment = track.purpose;
  auto path = folder.tone(track.name);
  const audio::Sink sink = audio::create_sound_file(path, spec, folder.overwrite);
  signal::Generator generator(track, tone_rate, signal::Dither::highest_peak(code_step));
  signal::Dither dither(code_step);
  std::vector<double> block(2 * block_frames);
  while (const std::size_t frames = generator.render(block)) {
    files::throw_if_interrupted();
    const auto samples = std::span<double>(block).first(2 * frames);
    dither.add(samples);
    sink.write(samples);
  }
  sink.commit();
  return path;
}

std::filesystem::path write_capture(const DemoFolder& folder, const std::string& name,
                                    const audio::Source& recording) {
  audio::SoundFileSpec spec;
  spec.title = name;
  auto path = folder.capture(name);
  audio::write_sound_file(path, spec, recording, folder.overwrite);
  return path;
}

Recorded analyze_capture(const DemoFolder& folder, const std::string& name,
                         const judge::Limits& limits) {
  const auto path = folder.capture(name);
  Recorded recorded = measure_recording(path, limits);
  report::AnalysisDocument document;
  document.file_name = path.string();
  document.format = recorded.format;
  document.frames = recorded.frames;
  document.limits = limits;
  document.channels = recorded.analyses;
  files::write_file(folder.result(name), report::analysis_json(document).line() + "\n",
                    folder.overwrite);
  return recorded;
}

}  // namespace railtap::command
