// SPDX-License-Identifier: MIT
// Writes tracks of test tones as sound files: all of them, or none.
#pragma once

#include <filesystem>
#include <vector>

#include "audio/sound_file.hpp"
#include "signal/tone.hpp"

namespace railtap::audio {

/// A track and where it goes.
struct ToneJob {
  signal::Track track;
  std::filesystem::path path;
};

/// The largest peak that a track may have in this format, and whether it is dithered (PCM is).
[[nodiscard]] double highest_peak(const SoundFileSpec& spec);
[[nodiscard]] bool is_dithered(const SoundFileSpec& spec);

/// Renders every track into a file of its own, on as many threads as there are cores. The files get
/// their names when all are complete; when one fails or the person interrupts, none is left.
/// \param spec  title is replaced by the track's
/// \returns each file's highest sample, before lossy coding, in full scales
/// \throws Error, Interrupted
[[nodiscard]] std::vector<double> write_tones(const std::vector<ToneJob>& jobs,
                                              const SoundFileSpec& spec,
                                              files::Overwrite overwrite);

}  // namespace railtap::audio
