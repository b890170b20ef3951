// SPDX-License-Identifier: MIT
// One writer at a time for a file that several processes read, change and write.
#include "files/file_lock.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <chrono>
#include <cstring>
#include <string>
#include <thread>

#include "units/error.hpp"

namespace railtap::files {
namespace {

namespace fs = std::filesystem;

// Writing takes milliseconds; whoever holds the lock for so long hangs.
constexpr auto patience = std::chrono::seconds(10);
constexpr auto pause = std::chrono::milliseconds(10);

fs::path folder_of(const fs::path& path) {
  return path.has_parent_path() ? path.parent_path() : fs::path(".");
}

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

}  // namespace railtap::files
