// SPDX-License-Identifier: MIT
// The bytes of a recording as libsndfile asks for them, with what it does not report: that a read
// failed. It takes that for the end of the file, or of a header's field, and goes on.
#pragma once

#include <sndfile.h>

#include <filesystem>

namespace railtap::audio {

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

 private:
  static sf_count_t length(void* self);
  static sf_count_t seek(sf_count_t offset, int whence, void* self);
  static sf_count_t read(void* bytes, sf_count_t count, void* self);
  static sf_count_t tell(void* self);
  sf_count_t noted(sf_count_t result);

  std::filesystem::path path_;
  int descriptor_;
  int failure_ = 0;  // errno of the first that failed
};

}  // namespace railtap::audio
