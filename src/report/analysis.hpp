// SPDX-License-Identifier: MIT
// An analysis as the contract's JSON document, and as text for a person; the cause of a fault as
// every document has it.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "audio/stream.hpp"
#include "judge/analysis.hpp"
#include "judge/attenuation.hpp"
#include "judge/cause.hpp"
#include "judge/curves.hpp"
#include "judge/loopback.hpp"
#include "system/json.hpp"

namespace railtap::report {

// The cause of a fault as a JSON value, the same in every document.

/// The object that docs/formats.md describes under `cause`, or null.
[[nodiscard]] inline system::Json cause_json(const std::optional<judge::Cause>& cause) {
  using system::Json;
  using system::json_number;
  if (!cause) return nullptr;
  return {{"kind", judge::name(cause->kind)},
          {"sentence", cause->sentence},
          {"remedy", cause->remedy},
          {"share_percent", json_number(cause->share)},
          {"frequency_hz", json_number(cause->frequency)},
          {"turn_down_db", json_number(cause->turn_down)},
          {"input_excluded", cause->input_excluded ? Json(*cause->input_excluded) : Json(nullptr)}};
}

// An analysis as the contract's JSON document, and as text for a person.

/// A second recording of the same tone with more attenuation.
struct AttenuationComparison {
  std::string file_name;
  Decibels attenuation{0.0};  ///< more than in the first
  std::vector<judge::ComparedChannel> channels;
};

/// What is reported of one recording.
struct AnalysisDocument {
  std::string file_name;
  audio::StreamFormat format;
  std::int64_t frames = 0;  ///< read, per channel
  judge::Limits limits;
  std::vector<judge::ChannelAnalysis> channels;
  std::vector<std::string> names;  ///< of channels 1, 2, …, as the system has them; may be empty
  std::vector<judge::NotAbove> own;   ///< a channel each, where the interface's own are known
  std::vector<std::string> warnings;  ///< against trusting the recording or the volts
  std::vector<judge::Curves> curves;  ///< a channel each, or none at all
  std::optional<AttenuationComparison> compared;
};

/// The document "railtap.analysis/1": one line of JSON without a line end. What is not known is
/// null.
[[nodiscard]] system::Json analysis_json(const AnalysisDocument& document);

/// A readable block per channel, verdict first.
[[nodiscard]] std::string analysis_text(const AnalysisDocument& document);

}  // namespace railtap::report
