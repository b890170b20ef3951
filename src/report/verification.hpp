// SPDX-License-Identifier: MIT
// The verification of wiring and setting, for a person and for a program.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "audio/stream.hpp"
#include "judge/verification.hpp"

namespace railtap::report {

/// A part of a verification track that was found in a recording.
struct VerifiedPart {
  std::string kind;  ///< "channels", "polarity", "sweep", "silence", …
  std::string band;  ///< of its marker: "mid" or "low"
  Seconds start{0.0}, end{0.0};
  bool whole = true;  ///< false: the recording ends within it
  bool used = false;  ///< of several, the last whole one is
};

struct VerifiedFile {
  std::string name;
  audio::StreamFormat format;
  std::int64_t frames = 0;
  std::optional<Percent> clock_error;  ///< recorded duration over the nominal one, minus 1
  std::vector<VerifiedPart> parts;
};

struct VerificationDocument {
  std::vector<VerifiedFile> files;
  judge::VerificationLimits limits;
  std::string interface_file;  ///< empty: the interface's own response is still in
  judge::Verification verification;
  std::vector<std::string> warnings;
};

[[nodiscard]] std::string verification_text(const VerificationDocument& document);

/// The document "railtap.verification/1".
[[nodiscard]] std::string verification_json(const VerificationDocument& document);

}  // namespace railtap::report
