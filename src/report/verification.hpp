// SPDX-License-Identifier: MIT
// The verification of wiring and setting, for a person and for a program.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "audio/stream.hpp"
#include "judge/verification.hpp"
#include "system/json.hpp"

namespace railtap::report {

/// A part of a verification track that was found in a recording.
struct VerifiedPart {
  std::string kind;  ///< "channels", "polarity", "sweep", "silence", …
  std::string band;  ///< of its marker: "mid" or "low"
  Seconds start{0.0}, end{0.0};
  bool whole = true;  ///< false: the recording ends within it
  bool used = false;  ///< of several, the last whole one is
};

/// One recording, and what of the tracks it holds.
struct VerifiedFile {
  std::string name;  ///< as it was given
  audio::StreamFormat format;
  std::int64_t frames = 0;             ///< read, per channel
  std::optional<Percent> clock_error;  ///< recorded duration over the nominal one, minus 1
  std::vector<VerifiedPart> parts;
};

/// What is reported of one system, from one recording of its channels or several.
struct VerificationDocument {
  std::vector<VerifiedFile> files;
  judge::VerificationLimits limits;
  std::string interface_file;  ///< empty: the interface's own response is still in
  judge::Verification verification;
  std::vector<std::string> warnings;  ///< against trusting recordings or volts
};

/// Verdict first, then the files, then each channel with a plot of its response.
[[nodiscard]] std::string verification_text(const VerificationDocument& document);

/// The document "railtap.verification/1". \param only index of the one channel that it is to hold;
/// verdict and findings are still those of all
[[nodiscard]] system::Json verification_json(const VerificationDocument& document,
                                             std::optional<std::size_t> only = std::nullopt);

}  // namespace railtap::report
