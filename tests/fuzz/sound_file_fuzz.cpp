// SPDX-License-Identifier: MIT
// Fuzzes `analyze`: any bytes are a recording, measured and judged to a valid document, or an
// Error.
#include <sys/mman.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>

#include "command/recorded.hpp"
#include "fuzz/fuzzed.hpp"
#include "report/analysis.hpp"

namespace {

// A file that exists in memory only.
class MemoryFile {
 public:
  MemoryFile(const std::uint8_t* data, std::size_t size)
      : descriptor_(memfd_create("recording", 0)) {
    if (descriptor_ < 0 || write(descriptor_, data, size) != static_cast<ssize_t>(size)) {
      std::abort();
    }
  }
  ~MemoryFile() { close(descriptor_); }
  MemoryFile(const MemoryFile&) = delete;
  MemoryFile& operator=(const MemoryFile&) = delete;

  [[nodiscard]] std::filesystem::path path() const {
    return "/proc/self/fd/" + std::to_string(descriptor_);
  }

 private:
  int descriptor_;
};

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace railtap;
  const MemoryFile file(data, size);
  fuzz::expect_error_at_worst([&] {
    const command::Recorded recorded = command::measure_recording(file.path(), judge::Limits{});
    report::AnalysisDocument document;
    document.file_name = "recording";
    document.format = recorded.format;
    document.frames = recorded.frames;
    document.channels = recorded.analyses;
    const auto json = nlohmann::json::parse(report::analysis_json(document));
    if (json.at("channels").size() != static_cast<std::size_t>(recorded.format.channels)) {
      std::abort();
    }
    (void)report::analysis_text(document);
  });
  return 0;
}
