// SPDX-License-Identifier: MIT
// A recording read from its file, measured and judged: what several commands begin with.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
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

/// A part of a recording, by time from its start.
struct Part {
  Seconds start{0.0}, end{0.0};
};

/// How much of a file can be read before it breaks off; for a file that cannot be read to its end.
[[nodiscard]] Seconds readable_length(const std::filesystem::path& path);

/// Reads, measures and judges a file, or a part of it. What lies behind the part is not read: a
/// file that is damaged there is as good as any. All times count from the part's start then, which
/// a warning says. Throws Error for what cannot be read or is too short to measure, or whose
/// sidecar is too new, and Interrupted.
[[nodiscard]] Recorded measure_recording(const std::filesystem::path& path,
                                         const judge::Limits& limits,
                                         const std::optional<Part>& part = std::nullopt);

}  // namespace railtap::command
