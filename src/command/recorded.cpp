// SPDX-License-Identifier: MIT
// A recording read from its file, measured and judged.
#include "command/recorded.hpp"

#include <algorithm>
#include <chrono>
#include <iostream>

#include "audio/sound_file.hpp"
#include "audio/stream.hpp"
#include "files/atomic_file.hpp"
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

void append(std::vector<std::string>& to, std::vector<std::string> more) {
  for (std::string& sentence : more) to.push_back(std::move(sentence));
}

/// One channel's samples of its stretch.
struct Gatherer {
  judge::Stretch stretch;
  std::vector<double> samples;

  void add(std::span<const double> block, std::int64_t first_frame, std::size_t channel,
           std::size_t channels) {
    const auto frames = static_cast<std::int64_t>(block.size() / channels);
    const std::int64_t from = std::max(stretch.first_frame, first_frame);
    const std::int64_t to = std::min(stretch.first_frame + stretch.frames, first_frame + frames);
    for (std::int64_t frame = from; frame < to; ++frame) {
      samples.push_back(block[static_cast<std::size_t>(frame - first_frame) * channels + channel]);
    }
  }
};

/// Frames in an interleaved block.
std::int64_t frames_of(std::span<const double> block, std::size_t channels) {
  return channels == 0 ? 0 : static_cast<std::int64_t>(block.size() / channels);
}

std::vector<Gatherer> gatherers_of(const Recorded& recorded) {
  std::vector<Gatherer> gatherers;
  for (const auto& channel : recorded.measurements) {
    const measure::Segment* segment = judge::drawn_segment(channel);
    gatherers.emplace_back();
    if (segment != nullptr) {
      gatherers.back().stretch = judge::spectrum_stretch(*segment, recorded.format.rate);
    }
  }
  return gatherers;
}

}  // namespace

Seconds readable_length(const std::filesystem::path& path) {
  constexpr std::size_t frames_at_once = 1024;
  const audio::Source source = audio::open_cut_sound_file(path);
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
  audio::Source source = part ? audio::open_cut_sound_file(path) : audio::open_sound_file(path);
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

Provenance provenance_of(const std::filesystem::path& path, const audio::Source& source,
                         std::int64_t frames) {
  Provenance provenance;
  if (source.notes) provenance.warnings = source.notes();
  system::Sidecar sidecar = system::read_capture_sidecar(path);
  append(provenance.warnings, std::move(sidecar.damage));
  if (sidecar.record) {
    append(provenance.warnings,
           system::capture_warnings(*sidecar.record, source.format.rate, frames));
    using namespace std::chrono;
    const std::string future =
        system::future_warning(*sidecar.record, floor<days>(system_clock::now()));
    if (!future.empty()) append(provenance.warnings, {future});
  }
  provenance.sidecar = std::move(sidecar.record);
  return provenance;
}

std::vector<std::string> calibration_warnings(const system::CalibrationRecord& calibration,
                                              const std::string& file, Hertz rate,
                                              const std::optional<std::string>& device) {
  std::vector<std::string> warnings;
  const auto& origin = calibration.origin;
  const std::string only = "; the volts hold only for the same input at the same setting.";
  if (origin.sample_rate && *origin.sample_rate != rate) {
    warnings.push_back("The calibration " + file + " was made at " +
                       format_quantity(*origin.sample_rate, 6) + ", this has " +
                       format_quantity(rate, 6) + only);
  }
  if (origin.device && device && *origin.device != *device) {
    warnings.push_back("The calibration " + file + " was made with '" + *origin.device +
                       "', this comes from '" + *device + "'" + only);
  }
  return warnings;
}

void add_calibration_warnings(Provenance& provenance, const system::CalibrationRecord& calibration,
                              const std::string& file, Hertz rate) {
  std::optional<std::string> device;
  if (provenance.sidecar) device = provenance.sidecar->device;
  append(provenance.warnings, calibration_warnings(calibration, file, rate, device));
}

void add_interface_warnings(Provenance& provenance, const electric::SoundInterface& interface,
                            const std::string& file, Hertz rate) {
  auto& warnings = provenance.warnings;
  if (interface.rate != rate) {
    warnings.push_back("The loop-back " + file + " was measured at " +
                       format_quantity(interface.rate, 6) + ", this has " +
                       format_quantity(rate, 6) + "; its figures hold at its own rate.");
  }
  const auto& sidecar = provenance.sidecar;
  if (sidecar && !interface.device.empty() && sidecar->device != interface.device) {
    warnings.push_back("The loop-back " + file + " is of '" + interface.device +
                       "', this comes from '" + sidecar->device + "'.");
  }
}

void tell(const std::vector<std::string>& warnings) {
  for (const std::string& warning : warnings) std::cerr << "railtap: note: " << warning << '\n';
}

std::vector<judge::Curves> curves_of_recording(const std::filesystem::path& path,
                                               const Recorded& recorded,
                                               const judge::Limits& limits) {
  std::vector<Gatherer> gatherers = gatherers_of(recorded);
  const audio::Source source = audio::open_sound_file(path);
  const std::size_t channels = gatherers.size();
  std::int64_t frame = 0;
  audio::pump(source, [&](std::span<const double> block) {
    files::throw_if_interrupted();
    for (std::size_t c = 0; c < channels; ++c) gatherers[c].add(block, frame, c, channels);
    frame += frames_of(block, channels);
    return std::any_of(gatherers.begin(), gatherers.end(), [&](const Gatherer& g) {
      return g.stretch.first_frame + g.stretch.frames > frame;
    });
  });
  std::vector<judge::Curves> curves;
  for (std::size_t c = 0; c < gatherers.size(); ++c) {
    const measure::Segment* segment = judge::drawn_segment(recorded.measurements[c]);
    if (segment == nullptr) {
      curves.emplace_back();
      continue;
    }
    curves.push_back(judge::curves_of(
        *segment,
        measure::spectrum_curve(gatherers[c].samples, recorded.format.rate, limits.band)));
  }
  return curves;
}

}  // namespace railtap::command
