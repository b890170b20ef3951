// SPDX-License-Identifier: MIT
// Music and speech in a recording.
#include "command/recorded.hpp"

#include <algorithm>
#include <cmath>

#include "audio/sound_file.hpp"
#include "files/atomic_file.hpp"
#include "measure/flat_runs.hpp"
#include "measure/played_programme.hpp"
#include "units/error.hpp"

namespace railtap::command {
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

}  // namespace railtap::command
