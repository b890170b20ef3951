// SPDX-License-Identifier: MIT
// Sound files, read and written through libsndfile; and the bytes of a recording as it asks for
// them, with what it does not report: that a read failed.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include <sndfile.h>

#include "audio/stream.hpp"
#include "files/atomic_file.hpp"

namespace railtap::audio {

// The bytes of a recording as libsndfile asks for them, with what it does not report: that a read
// failed. It takes that for the end of the file, or of a header's field, and goes on.

/// A file that is open for reading. What it gives to libsndfile must not outlive it.
class FileBytes {
 public:
  /// \throws Error if it cannot be opened
  explicit FileBytes(const std::filesystem::path& path);
  ~FileBytes();
  FileBytes(const FileBytes&) = delete;
  FileBytes& operator=(const FileBytes&) = delete;

  /// Opens it as a sound file; nullptr where it is none (see sf_strerror). A pipe, which cannot be
  /// read twice, is left to libsndfile.
  [[nodiscard]] SNDFILE* open(SF_INFO& info);

  /// \throws Error if a read has failed since it was opened
  void check() const;

  /// Gives a number in place of what the file has at a byte: 32 bits, lowest byte first.
  void put(std::int64_t at, std::uint32_t number);

 private:
  static sf_count_t length(void* self);
  static sf_count_t seek(sf_count_t offset, int whence, void* self);
  static sf_count_t read(void* bytes, sf_count_t count, void* self);
  static sf_count_t tell(void* self);
  sf_count_t noted(sf_count_t result);
  void put_numbers(std::span<char> read, std::int64_t from) const;

  struct Number {
    std::int64_t at = 0;
    std::array<char, 4> bytes{};
  };

  std::filesystem::path path_;
  int descriptor_;
  int failure_ = 0;  // errno of the first that failed
  std::vector<Number> put_;
};

// Sound files that are cut short, of which a part is wanted.

/// The same as open_sound_file, but a file whose header claims more than is there is read up to
/// where it ends, with a note, and refused only there.
[[nodiscard]] Source open_cut_sound_file(const std::filesystem::path& path);

// Sound files, read and written through libsndfile.

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
/// folder, empty, not sound (with a command that converts it, where its first bytes say what it
/// is), or of no length, and for a file cut short (its header claims more than
/// is there), at the latest where it ends. A header that does not know the length, or gives one
/// that is too short for the sound that is there, is no fault: the file is read to its end, with a
/// note.
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
