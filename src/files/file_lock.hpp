// SPDX-License-Identifier: MIT
// One writer at a time for a file that several processes read, change and write.
#pragma once

#include <filesystem>

namespace railtap::files {

/// Held while it lives. The lock is a file of its own beside `path`, hidden, and stays there: a
/// lock on the file itself would be lost when a whole new file takes its name. A process that dies
/// lets go of it.
class FileLock {
 public:
  /// Waits for another process for some seconds.
  /// \throws Error when it still holds the lock then, or when the folder cannot be written
  explicit FileLock(const std::filesystem::path& path);
  ~FileLock();
  FileLock(const FileLock&) = delete;
  FileLock& operator=(const FileLock&) = delete;

 private:
  int descriptor_ = -1;
};

/// Makes sure that a file's new name outlives a loss of power, as its content does [POSIX
/// XSH fsync; a folder is a file of its own]. What the file system cannot do is left out.
void sync_folder_of(const std::filesystem::path& path) noexcept;

}  // namespace railtap::files
