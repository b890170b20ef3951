// SPDX-License-Identifier: MIT
// A recording read from its file, measured and judged.
#include "command/recorded.hpp"

#include "audio/sound_file.hpp"
#include "audio/stream.hpp"
#include "files/interrupt.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

// Three cycles of 20 Hz; under this no figure would hold.
constexpr Seconds shortest_recording{0.15};

void require_length(const Recorded& recorded, const std::filesystem::path& path) {
  const Seconds length(static_cast<double>(recorded.frames) / recorded.format.rate.value());
  if (length >= shortest_recording) return;
  throw Error("the recording is too short to measure: " + format_quantity(length, 3), path.string(),
              "record at least 0.5 s of the steady tone");
}

}  // namespace

Recorded measure_recording(const std::filesystem::path& path, const judge::Limits& limits) {
  const audio::Source source = audio::open_sound_file(path);
  Recorded recorded;
  recorded.format = source.format;
  measure::RecordingMeter meter(source.format.rate, source.format.channels,
                                {limits.band, source.format.code_step});
  recorded.frames = audio::pump(source, [&meter](std::span<const double> block) {
    files::throw_if_interrupted();
    meter.add(block);
    return true;
  });
  recorded.provenance = provenance_of(path, source, recorded.frames);
  require_length(recorded, path);
  recorded.measurements = meter.finish();
  for (const auto& measurement : recorded.measurements) {
    const int channel = static_cast<int>(recorded.analyses.size()) + 1;
    recorded.analyses.push_back(
        judge::judge_channel(channel, measurement, source.format.rate, limits));
  }
  return recorded;
}

}  // namespace railtap::command
