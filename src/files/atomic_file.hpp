// SPDX-License-Identifier: MIT
// Output files that appear whole or not at all, never in another file's place unasked, and written
// by one process at a time; and Ctrl-C as a flag that loops check, so that unfinished files are
// removed.
#pragma once

#include <filesystem>
#include <string_view>

namespace railtap::files {

// Output files that appear whole or not at all, never in another file's place unasked, and written
// by one process at a time; and folders for files that nobody keeps.

/// Whether an existing file may be replaced (the person gave --force).
enum class Overwrite { refuse, allow };

/// A file under a temporary name in the folder of its final one. `commit` flushes it to the disk
/// and gives it its name in one step; without it, the destructor removes it. What a process that
/// was killed has left goes with the next file in that folder, see remove_leftovers.
class AtomicFile {
 public:
  /// Throws Error when the final name exists (unless allowed) or the folder cannot be written.
  AtomicFile(std::filesystem::path final_path, Overwrite overwrite);
  ~AtomicFile();
  AtomicFile(const AtomicFile&) = delete;
  AtomicFile& operator=(const AtomicFile&) = delete;
  AtomicFile(AtomicFile&& other) noexcept;
  AtomicFile& operator=(AtomicFile&& other) = delete;

  /// An open, empty file; the descriptor belongs to this object.
  [[nodiscard]] int descriptor() const { return descriptor_; }
  [[nodiscard]] const std::filesystem::path& final_path() const { return final_path_; }

  /// Appends text. Throws Error when the disk is full.
  void write(std::string_view text);

  /// Throws Error when the disk is full, or when the name was taken in the meantime; nothing is
  /// left then.
  void commit();

 private:
  void open_temporary();
  void discard() noexcept;

  std::filesystem::path final_path_;
  std::filesystem::path temporary_path_;
  Overwrite overwrite_;
  int descriptor_ = -1;
};

/// Removes the temporary files of processes that were killed from a folder: those whose name an
/// AtomicFile gives, that are regular files of this user with one name, and that no process has
/// locked. A link is not followed. What cannot be removed stays, without an error.
void remove_leftovers(const std::filesystem::path& folder) noexcept;

/// A folder for files that nobody keeps, in the system's temporary one unless told otherwise. The
/// destructor removes it with the files in it, but with no folders. What a process that was killed
/// has left goes with the next folder of this kind: one of this user's that no process has locked.
class TemporaryFolder {
 public:
  /// \throws Error where no folder can be made
  explicit TemporaryFolder(
      const std::filesystem::path& parent = std::filesystem::temp_directory_path());
  ~TemporaryFolder();
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;

  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
  int descriptor_ = -1;  // of the folder itself, locked while it is in use
};

/// Writes a whole small file at once, atomically.
void write_file(const std::filesystem::path& path, std::string_view text, Overwrite overwrite);

/// The name that stands for standard input where a file is read once; a file of that name is ./-
inline constexpr std::string_view standard_input = "-";

/// \throws Error for `-`, where a file is written
void refuse_standard_input(const std::filesystem::path& path);

/// Reads a whole text file of at most `most_bytes`, or standard input. Throws Error when it cannot,
/// or when it is longer.
[[nodiscard]] std::string read_file(const std::filesystem::path& path, std::size_t most_bytes);

/// Held while it lives. The lock is a file of its own beside `path`, hidden, and stays there: a
/// lock on the file itself would be lost when a whole new file takes its name. The lock
/// ends with its process.
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

// Ctrl-C as a flag that loops check, so that unfinished files are removed before the program ends.

/// From now on SIGINT and SIGTERM are noted instead of ending the process; a second one ends it at
/// once. Called once, at the start of main.
void watch_for_interrupt();

/// Whether the person has asked to stop.
[[nodiscard]] bool interrupted();

/// Throws Interrupted if so. Called once a block by everything that takes long.
void throw_if_interrupted();

}  // namespace railtap::files
