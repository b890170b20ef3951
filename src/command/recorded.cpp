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

// A stream that begins and ends with the part. It reads nothing behind it.
audio::Source part_of(audio::Source whole, const Part& part, const std::filesystem::path& path) {
  const double rate = whole.format.rate.value();
  const auto channels = static_cast<std::size_t>(whole.format.channels);
  struct Place {
    std::int64_t to_skip, left;
  };
  const auto first = static_cast<std::int64_t>(std::llround(part.start.value() * rate));
  const auto end = static_cast<std::int64_t>(std::llround(part.end.value() * rate));
  auto place = std::make_shared<Place>(Place{first, end - first});
  audio::Source source = whole;
  source.format.frames.reset();
  source.read = [whole = std::move(whole), place, channels, path](std::span<double> out) {
    while (place->to_skip > 0) {
      const auto most = static_cast<std::int64_t>(out.size() / channels);
      const auto take = static_cast<std::size_t>(std::min(most, place->to_skip));
      const std::size_t got = whole.read(out.first(take * channels));
      if (got == 0) {
        throw Error("the recording ends before the part begins", path.string(),
                    "name a part that lies within it");
      }
      place->to_skip -= static_cast<std::int64_t>(got);
    }
    const auto most = static_cast<std::int64_t>(out.size() / channels);
    const auto take = static_cast<std::size_t>(std::min(most, place->left));
    if (take == 0) return std::size_t{0};
    const std::size_t got = whole.read(out.first(take * channels));
    place->left -= static_cast<std::int64_t>(got);
    return got;
  };
  return source;
}

void require_length(const Recorded& recorded, const std::filesystem::path& path) {
  const Seconds length(static_cast<double>(recorded.frames) / recorded.format.rate.value());
  if (length >= shortest_recording) return;
  throw Error("the recording is too short to measure: " + format_quantity(length, 3), path.string(),
              "record at least 0.5 s of the steady tone");
}

}  // namespace

Seconds readable_length(const std::filesystem::path& path) {
  constexpr std::size_t frames_at_once = 1024;
  const audio::Source source = audio::open_sound_file(path);
  std::vector<double> block(frames_at_once * static_cast<std::size_t>(source.format.channels));
  double frames = 0.0;
  try {
    while (const std::size_t got = source.read(block)) frames += static_cast<double>(got);
  } catch (const Error&) {
    // What came before is the answer.
  }
  return Seconds(frames / source.format.rate.value());
}

Recorded measure_recording(const std::filesystem::path& path, const judge::Limits& limits,
                           const std::optional<Part>& part) {
  audio::Source source = audio::open_sound_file(path);
  if (part) source = part_of(std::move(source), *part, path);
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
  if (part) {
    recorded.provenance.warnings.push_back(
        "Only the part from " + format_quantity(part->start) + " to " + format_quantity(part->end) +
        " of " + path.filename().string() + " is measured; times count from its start.");
  }
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
