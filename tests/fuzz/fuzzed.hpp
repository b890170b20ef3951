// SPDX-License-Identifier: MIT
// What the fuzzers share.
#pragma once

#include <sys/mman.h>
#include <unistd.h>

#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>

#include "units/error.hpp"

namespace railtap::fuzz {

[[nodiscard]] inline std::string_view as_text(const std::uint8_t* data, std::size_t size) {
  return {reinterpret_cast<const char*>(data), size};
}

/// Calls `work`. An Error is the answer to bad input; anything else that is thrown is a finding.
template <class Work>
void expect_error_at_worst(Work&& work) {
  try {
    work();
  } catch (const Error&) {
    return;
  }
}

/// A file that exists in memory only: fuzzers open thousands a second.
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
