// SPDX-License-Identifier: MIT
// Output files that appear whole or not at all, never in another file's place unasked, and written
// by one process at a time; and Ctrl-C as a flag that loops check, so that unfinished files are
// removed.
#include "files/atomic_file.hpp"

#include <algorithm>
#include <atomic>
#include <cctype>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <cstring>
#include <fstream>
#include <iostream>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <dirent.h>
#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "units/error.hpp"

namespace railtap::files {

// Output files that appear whole or not at all, locks for those that several processes write, and
// folders that go again.

namespace {

namespace fs = std::filesystem;

Error already_there(const fs::path& path) {
  return {"the file exists and is not overwritten", path.string(),
          "choose another name, or add --force to replace it"};
}

Error cannot_write(const fs::path& path, int reason) {
  const char* next = reason == ENOSPC || reason == EFBIG || reason == EDQUOT
                         ? "make room, or write to another disk"
                         : "choose a folder that exists and that you may write to";
  return {std::string("cannot be written (") + std::strerror(reason) + ")", path.string(), next};
}

fs::path folder_of(const fs::path& path) {
  return path.has_parent_path() ? path.parent_path() : fs::path(".");
}

// The permissions that a file created the plain way would have.
void take_usual_permissions(int descriptor) {
  const mode_t mask = umask(0);
  umask(mask);
  fchmod(descriptor, 0666 & ~mask);
}

// 0 or errno.
int give_name_over(const fs::path& from, const fs::path& to) {
  return rename(from.c_str(), to.c_str()) == 0 ? 0 : errno;
}

// A plain rename would silently replace what another program put there since the check. Where the
// file system can't do better than a rename, a hard link also fails on a name that is taken, and
// where it has no links either, the check is made once more.
int give_free_name(const fs::path& from, const fs::path& to) {
  if (renameat2(AT_FDCWD, from.c_str(), AT_FDCWD, to.c_str(), RENAME_NOREPLACE) == 0) return 0;
  if (errno != EINVAL && errno != ENOSYS) return errno;
  if (link(from.c_str(), to.c_str()) == 0) {
    unlink(from.c_str());
    return 0;
  }
  if (errno == EEXIST) return errno;
  std::error_code ignored;
  if (fs::exists(fs::symlink_status(to, ignored))) return EEXIST;
  return give_name_over(from, to);
}

// What every temporary name has between the final name and six characters that make it the only
// one.
constexpr std::string_view leftover_mark = ".railtap-";
constexpr std::size_t unique_characters = 6;  // of mkostemp [mkstemp(3)]

std::string temporary_pattern(const fs::path& final_path) {
  // A name of the longest, 255 bytes on usual file systems, has room for no mark.
  constexpr std::size_t most_of_name = 200;
  const std::string name = final_path.filename().string().substr(0, most_of_name);
  return (folder_of(final_path) /
          ("." + name + std::string(leftover_mark) + std::string(unique_characters, 'X')))
      .string();
}

bool is_temporary_name(std::string_view name) {
  const std::size_t end = leftover_mark.size() + unique_characters;
  return name.starts_with('.') && name.size() > end + 1 &&
         name.substr(name.size() - end).starts_with(leftover_mark) &&
         std::all_of(name.end() - unique_characters, name.end(),
                     [](unsigned char c) { return std::isalnum(c) != 0; });
}

bool still_named(int descriptor) {
  struct stat about {};
  return fstat(descriptor, &about) == 0 && about.st_nlink > 0;
}

// Ours, alone, and nothing but a file.
bool is_own_file(const struct stat& about) {
  return S_ISREG(about.st_mode) && about.st_uid == geteuid() && about.st_nlink == 1;
}

// Opened through the folder, so that neither the folder's name nor the file's is followed anew.
void remove_unlocked(int folder, const char* name) {
  const int file = openat(folder, name, O_RDWR | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
  if (file < 0) return;
  struct stat opened {
  }, named{};
  const bool free =
      fstat(file, &opened) == 0 && is_own_file(opened) && flock(file, LOCK_EX | LOCK_NB) == 0;
  const bool same = free && fstatat(folder, name, &named, AT_SYMLINK_NOFOLLOW) == 0 &&
                    named.st_dev == opened.st_dev && named.st_ino == opened.st_ino;
  if (same) unlinkat(folder, name, 0);
  close(file);
}

}  // namespace

void remove_leftovers(const fs::path& folder) noexcept {
  DIR* const entries = opendir(folder.c_str());
  if (entries == nullptr) return;
  while (const dirent* entry = readdir(entries)) {
    if (is_temporary_name(entry->d_name)) remove_unlocked(dirfd(entries), entry->d_name);
  }
  closedir(entries);
}

void refuse_standard_input(const fs::path& path) {
  if (path != standard_input) return;
  throw Error("stands for standard input, and this is written to a file", "-",
              "give a file name; ./- for a file of that name");
}

AtomicFile::AtomicFile(fs::path final_path, Overwrite overwrite)
    : final_path_(std::move(final_path)), overwrite_(overwrite) {
  refuse_standard_input(final_path_);
  std::error_code ignored;
  if (fs::is_directory(final_path_, ignored)) {
    throw Error("is a folder, not a file", final_path_.string(), "give a file name");
  }
  // symlink_status: a dangling link also takes the name.
  if (overwrite_ == Overwrite::refuse && fs::exists(fs::symlink_status(final_path_, ignored))) {
    throw already_there(final_path_);
  }
  remove_leftovers(folder_of(final_path_));
  open_temporary();
  take_usual_permissions(descriptor_);
}

// Between making the file and locking it, another process may have taken it for a leftover.
void AtomicFile::open_temporary() {
  constexpr int most_tries = 100;
  for (int n = 0; n < most_tries; ++n) {
    std::string name = temporary_pattern(final_path_);
    descriptor_ = mkostemp(name.data(), O_CLOEXEC);
    if (descriptor_ < 0) throw cannot_write(final_path_, errno);
    temporary_path_ = name;
    // Where a file system has no locks, nobody takes one away either.
    const bool taken = flock(descriptor_, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK;
    if (!taken && still_named(descriptor_)) return;
    discard();
  }
  throw cannot_write(final_path_, EAGAIN);
}

AtomicFile::AtomicFile(AtomicFile&& other) noexcept
    : final_path_(std::move(other.final_path_)),
      temporary_path_(std::move(other.temporary_path_)),
      overwrite_(other.overwrite_),
      descriptor_(std::exchange(other.descriptor_, -1)) {}

AtomicFile::~AtomicFile() {
  discard();
}

void AtomicFile::discard() noexcept {
  if (descriptor_ < 0) return;
  close(descriptor_);
  unlink(temporary_path_.c_str());
  descriptor_ = -1;
}

void AtomicFile::write(std::string_view text) {
  while (!text.empty()) {
    const ssize_t written = ::write(descriptor_, text.data(), text.size());
    if (written < 0 && errno == EINTR) continue;
    if (written < 0) throw cannot_write(final_path_, errno);
    text.remove_prefix(static_cast<std::size_t>(written));
  }
}

void AtomicFile::commit() {
  if (fsync(descriptor_) != 0) throw cannot_write(final_path_, errno);
  const int failure = overwrite_ == Overwrite::allow ? give_name_over(temporary_path_, final_path_)
                                                     : give_free_name(temporary_path_, final_path_);
  if (failure == EEXIST) throw already_there(final_path_);
  if (failure != 0) throw cannot_write(final_path_, failure);
  close(descriptor_);
  descriptor_ = -1;
}

namespace {

constexpr std::string_view temporary_folder_mark = "railtap-work-";

bool is_temporary_folder_name(std::string_view name) {
  return name.size() == temporary_folder_mark.size() + unique_characters &&
         name.starts_with(temporary_folder_mark) &&
         std::all_of(name.end() - unique_characters, name.end(),
                     [](unsigned char c) { return std::isalnum(c) != 0; });
}

// The files in an open folder; a folder in it stays, and with it the folder itself.
void remove_files_in(int folder) noexcept {
  const int reading = openat(folder, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  DIR* const entries = reading < 0 ? nullptr : fdopendir(reading);
  if (entries == nullptr) {
    if (reading >= 0) close(reading);
    return;
  }
  while (const dirent* entry = readdir(entries)) {
    const std::string_view name = entry->d_name;
    if (name != "." && name != "..") unlinkat(folder, entry->d_name, 0);
  }
  closedir(entries);
}

// As remove_unlocked does with a file: what is removed is the very folder that was locked.
void remove_unlocked_folder(int parent, const char* name) noexcept {
  const int folder = openat(parent, name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
  if (folder < 0) return;
  struct stat opened {
  }, named{};
  const bool free = fstat(folder, &opened) == 0 && opened.st_uid == geteuid() &&
                    flock(folder, LOCK_EX | LOCK_NB) == 0;
  const bool same = free && fstatat(parent, name, &named, AT_SYMLINK_NOFOLLOW) == 0 &&
                    named.st_dev == opened.st_dev && named.st_ino == opened.st_ino;
  if (same) {
    remove_files_in(folder);
    unlinkat(parent, name, AT_REMOVEDIR);
  }
  close(folder);
}

void remove_leftover_folders(const fs::path& parent) noexcept {
  DIR* const entries = opendir(parent.c_str());
  if (entries == nullptr) return;
  while (const dirent* entry = readdir(entries)) {
    if (is_temporary_folder_name(entry->d_name))
      remove_unlocked_folder(dirfd(entries), entry->d_name);
  }
  closedir(entries);
}

}  // namespace

// Between making the folder and locking it, another process may have taken it for a leftover.
TemporaryFolder::TemporaryFolder(const fs::path& parent) {
  constexpr int most_tries = 100;
  remove_leftover_folders(parent);
  const std::string pattern =
      (parent / (std::string(temporary_folder_mark) + std::string(unique_characters, 'X')))
          .string();
  for (int n = 0; n < most_tries; ++n) {
    std::string name = pattern;
    if (mkdtemp(name.data()) == nullptr) throw cannot_write(pattern, errno);
    path_ = name;
    descriptor_ = open(name.c_str(), O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
    const bool taken =
        descriptor_ < 0 || (flock(descriptor_, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK);
    if (!taken && still_named(descriptor_)) return;
    if (descriptor_ >= 0) close(descriptor_);
  }
  throw cannot_write(pattern, EAGAIN);
}

TemporaryFolder::~TemporaryFolder() {
  remove_files_in(descriptor_);
  rmdir(path_.c_str());
  close(descriptor_);
}

void write_file(const fs::path& path, std::string_view text, Overwrite overwrite) {
  AtomicFile file(path, overwrite);
  file.write(text);
  file.commit();
}

namespace {

std::string read_from(std::istream& in, const fs::path& path, std::size_t most_bytes) {
  std::string text(most_bytes + 1, '\0');
  in.read(text.data(), static_cast<std::streamsize>(text.size()));
  text.resize(static_cast<std::size_t>(in.gcount()));
  if (text.size() > most_bytes) {
    throw Error("is larger than " + std::to_string(most_bytes) + " bytes", path.string(),
                "give a smaller file");
  }
  return text;
}

}  // namespace

std::string read_file(const fs::path& path, std::size_t most_bytes) {
  if (path == standard_input) return read_from(std::cin, path, most_bytes);
  std::error_code failure;
  if (fs::is_directory(path, failure))
    throw Error("is a folder, not a file", path.string(), "give a file name");
  std::ifstream in(path, std::ios::binary);
  if (!in && !fs::exists(path, failure))
    throw Error("there is no such file", path.string(), "check the name and the folder");
  if (!in) throw Error("cannot be read", path.string(), "check that you may read it");
  return read_from(in, path, most_bytes);
}

namespace {

// Writing takes milliseconds; a process that holds the lock for so long does not go on.
constexpr auto patience = std::chrono::seconds(10);
constexpr auto pause = std::chrono::milliseconds(10);

int open_lock(const fs::path& path) {
  const fs::path lock = folder_of(path) / ("." + path.filename().string() + ".lock");
  const int descriptor = open(lock.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666);
  if (descriptor >= 0) return descriptor;
  throw Error(std::string("cannot be written (") + std::strerror(errno) + ")", path.string(),
              "choose a folder that exists and that you may write to");
}

}  // namespace

FileLock::FileLock(const fs::path& path) : descriptor_(open_lock(path)) {
  const auto deadline = std::chrono::steady_clock::now() + patience;
  while (flock(descriptor_, LOCK_EX | LOCK_NB) != 0) {
    const int reason = errno;
    const bool busy = reason == EWOULDBLOCK || reason == EINTR;
    if (busy && std::chrono::steady_clock::now() < deadline) {
      std::this_thread::sleep_for(pause);
      continue;
    }
    close(descriptor_);
    throw Error(busy ? "is being written by another process"
                     : std::string("cannot be locked (") + std::strerror(reason) + ")",
                path.string(),
                busy ? "wait for it to end, and try again" : "use a folder of a local disk");
  }
}

FileLock::~FileLock() {
  close(descriptor_);
}

void sync_folder_of(const fs::path& path) noexcept {
  const int folder = open(folder_of(path).c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (folder < 0) return;
  fsync(folder);
  close(folder);
}

// Ctrl-C as a flag.

namespace {

// A signal handler can reach nothing but a global; this is the only one.
std::atomic<bool> stop_requested{false};
static_assert(std::atomic<bool>::is_always_lock_free,
              "a signal handler may touch only lock-free atomics");

extern "C" void note_interrupt(int signal_number) {
  stop_requested.store(true);
  std::signal(signal_number, SIG_DFL);
}

}  // namespace

void watch_for_interrupt() {
  std::signal(SIGINT, note_interrupt);
  std::signal(SIGTERM, note_interrupt);
  // A file at its size limit is to be an error from write(), not the end of the process.
  std::signal(SIGXFSZ, SIG_IGN);
}

bool interrupted() {
  return stop_requested.load();
}

void throw_if_interrupted() {
  if (interrupted()) throw Interrupted();
}

}  // namespace railtap::files
