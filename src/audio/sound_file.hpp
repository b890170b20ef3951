// SPDX-License-Identifier: MIT
// Sound files, read and written through libsndfile.
#pragma once

#include <filesystem>
#include <string>

#include "audio/stream.hpp"
#include "files/atomic_file.hpp"

namespace railtap::audio {

/// How a file packs its samples (FLAC without loss, MP3 with it), and what a sample is: a whole
/// number of 16 or 24 bits, or floating point.
enum class Container { wav, flac, aiff, mp3 };
enum class SampleType { pcm16, pcm24, float32, float64 };

/// What a new sound file is to be.
struct SoundFileSpec {
  Hertz rate{48000.0};
  int channels = 2;  ///< >= 1
  Container container = Container::wav;
  SampleType samples = SampleType::pcm24;  ///< ignored for mp3
  std::string title;                       ///< into the file's metadata; may be empty
  std::string comment;
};

/// Opens a recording of any format that libsndfile reads. Throws Error for what is missing, a
/// folder, empty, not sound, or of no length, and for a file cut short (its header claims more than
/// is there), at the latest where it ends. A header that does not know the length is no fault: the
/// file is read to its end, with a note.
[[nodiscard]] Source open_sound_file(const std::filesystem::path& path);

/// Creates a sound file that gets its name on commit. Samples beyond ±1 are clipped by the
/// converter, not wrapped. Throws Error for a format that libsndfile cannot write (FLAC in float,
/// MP3 at 96 kHz), a name that is taken, a folder that cannot be written, or a full disk.
[[nodiscard]] Sink create_sound_file(const std::filesystem::path& path, const SoundFileSpec& spec,
                                     files::Overwrite overwrite);

/// Writes a recording to its end into a new sound file; rate and channels are the recording's own.
/// Throws Error as create_sound_file does, what reading throws, and Interrupted.
void write_sound_file(const std::filesystem::path& path, SoundFileSpec spec,
                      const Source& recording, files::Overwrite overwrite);

/// Whether the libsndfile in use writes this combination.
[[nodiscard]] bool can_write(const SoundFileSpec& spec);

/// The longest that such a file can be: WAV and AIFF hold 4 GiB.
[[nodiscard]] std::int64_t most_frames(const SoundFileSpec& spec);

/// In words: "WAV (Microsoft), Signed 16 bit PCM".
[[nodiscard]] std::string encoding_name(const SoundFileSpec& spec);

/// The ending that a container's files have, with its dot: ".wav".
[[nodiscard]] const char* extension(Container container);

}  // namespace railtap::audio
