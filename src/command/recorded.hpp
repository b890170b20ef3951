// SPDX-License-Identifier: MIT
// A recording read from its file, measured and judged, with what is known of it besides its
// samples: what several commands begin with.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "audio/stream.hpp"
#include "electric/calibration.hpp"
#include "judge/analysis.hpp"
#include "judge/curves.hpp"
#include "measure/recording.hpp"
#include "system/kept_files.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

/// What is known of a recording besides its samples.
struct Provenance {
  std::optional<system::CaptureRecord> sidecar;  ///< none where none can be read
  std::vector<std::string> warnings;             ///< a sentence each
};

/// Reads the sidecar of a recording that was read to its end, and gathers the source's own notes.
/// \throws Error for a sidecar of a newer version
[[nodiscard]] Provenance provenance_of(const std::filesystem::path& path,
                                       const audio::Source& source, std::int64_t frames);

/// What speaks against using a calibration for such a recording.
/// \param device of the input, where it is known
[[nodiscard]] std::vector<std::string> calibration_warnings(
    const system::CalibrationRecord& calibration, const std::string& file, Hertz rate,
    const std::optional<std::string>& device);

/// The same, with the device that the sidecar names, added to what is known of a recording.
void add_calibration_warnings(Provenance& provenance, const system::CalibrationRecord& calibration,
                              const std::string& file, Hertz rate);

/// What speaks against holding a recording against an interface's own figures.
void add_interface_warnings(Provenance& provenance, const electric::SoundInterface& interface,
                            const std::string& file, Hertz rate);

/// Tells warnings on standard error, a line each.
void tell(const std::vector<std::string>& warnings);

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

/// One for each channel of what was measured from this file. Throws Error where the file cannot be
/// read again, and Interrupted.
[[nodiscard]] std::vector<judge::Curves> curves_of_recording(const std::filesystem::path& path,
                                                             const Recorded& recorded,
                                                             const judge::Limits& limits);

/// Reads the file again and adds what its peaks tell to each channel without a steady tone, and
/// what the chain added to the track where one is given. Does nothing where all is tones or
/// silence. \param track the file that was played; empty where it is not known Throws Error for
/// what cannot be read or does not go with the recording, and Interrupted.
void look_at_programme(Recorded& recorded, const std::filesystem::path& path,
                       const judge::Limits& limits, const std::filesystem::path& track);

}  // namespace railtap::command
