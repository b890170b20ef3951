// SPDX-License-Identifier: MIT
// A recording read from its file, measured and judged: what several commands begin with.
#pragma once

#include <cstdint>
#include <filesystem>
#include <vector>

#include "audio/stream.hpp"
#include "command/provenance.hpp"
#include "judge/analysis.hpp"
#include "measure/recording.hpp"

namespace railtap::command {

/// One recording. Lists have its channels in order, channel 1 first.
struct Recorded {
  audio::StreamFormat format;
  std::int64_t frames = 0;                              ///< read, per channel
  std::vector<measure::ChannelRecording> measurements;  ///< a channel each
  std::vector<judge::ChannelAnalysis> analyses;         ///< the same, judged
  Provenance provenance;
};

/// Reads, measures and judges a file. Throws Error for what cannot be read or is too short to
/// measure, or whose sidecar is too new, and Interrupted.
[[nodiscard]] Recorded measure_recording(const std::filesystem::path& path,
                                         const judge::Limits& limits);

}  // namespace railtap::command
