// SPDX-License-Identifier: MIT
// Reads the stretches that the spectra are taken from.
#include "command/curves.hpp"

#include <algorithm>

#include "audio/sound_file.hpp"
#include "audio/stream.hpp"
#include "files/interrupt.hpp"

namespace railtap::command {
namespace {

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
