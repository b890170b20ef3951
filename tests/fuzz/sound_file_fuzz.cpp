// SPDX-License-Identifier: MIT
// Fuzzes `analyze`: any bytes are a recording, measured and judged to a valid document, or an
// Error.
#include <cstdlib>
#include <nlohmann/json.hpp>

#include "command/recorded.hpp"
#include "fuzz/fuzzed.hpp"
#include "report/analysis.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace railtap;
  const fuzz::MemoryFile file({data, size});
  fuzz::expect_error_at_worst([&] {
    const command::Recorded recorded = command::measure_recording(file.path(), judge::Limits{});
    report::AnalysisDocument document;
    document.file_name = "recording";
    document.format = recorded.format;
    document.frames = recorded.frames;
    document.channels = recorded.analyses;
    const auto json = nlohmann::json::parse(report::analysis_json(document).line());
    if (json.at("channels").size() != static_cast<std::size_t>(recorded.format.channels)) {
      std::abort();
    }
    (void)report::analysis_text(document);
  });
  return 0;
}
