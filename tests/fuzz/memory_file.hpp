// SPDX-License-Identifier: MIT
// A file that exists in memory only: fuzzers open thousands a second.
#pragma once

#include <sys/mman.h>
#include <unistd.h>

#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <span>
#include <string>

namespace railtap::fuzz {

class MemoryFile {
 public:
  explicit MemoryFile(std::span<const std::uint8_t> bytes)
      : descriptor_(memfd_create("recording", 0)) {
    if (descriptor_ < 0 ||
        write(descriptor_, bytes.data(), bytes.size()) != static_cast<ssize_t>(bytes.size())) {
      std::abort();
    }
  }
  ~MemoryFile() { close(descriptor_); }
  MemoryFile(const MemoryFile&) = delete;
  MemoryFile& operator=(const MemoryFile&) = delete;

  /// Opens it anew, from its first byte.
  [[nodiscard]] std::filesystem::path path() const {
    return "/proc/self/fd/" + std::to_string(descriptor_);
  }

 private:
  int descriptor_;
};

}  // namespace railtap::fuzz
