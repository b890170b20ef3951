// SPDX-License-Identifier: MIT
// An onset as the contract's JSON document, and as a table with a small plot.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "audio/stream.hpp"
#include "judge/onset.hpp"
#include "judge/stage.hpp"
#include "system/json.hpp"

namespace railtap::report {

/// How the steps of a channel were found.
struct StepsFound {
  enum class By {
    nothing,  ///< there are none
    options,  ///< a ladder that was described
    marker,   ///< a ladder that announces itself
    levels,   ///< a ladder by its regular steps, start unknown
    turned,   ///< a level that a hand moves: its rests, and slices between them
    standing  ///< wherever the level stands still
  } by = By::nothing;
  int steps = 0;
  std::optional<Decibels> rise;  ///< of a ladder
  std::optional<Seconds> start;  ///< of its first step
  std::optional<Seconds> dwell;  ///< of a step
  std::optional<Seconds> pause;  ///< from a step to the next; none where there is no pace
};

/// What is reported of one recording, or of one before and one after an amplifier.
struct OnsetDocument {
  std::string file_name;
  audio::StreamFormat format;
  judge::OnsetLimits limits;
  std::vector<StepsFound> found;  ///< a channel each
  std::vector<judge::ChannelOnset> channels;
  std::vector<std::string> names;  ///< of channels 1, 2, …, as the system has them; may be empty
  std::optional<std::string> before_name;
  std::vector<judge::ChannelOnset> before;     ///< the channels that were compared with
  std::vector<std::string> warnings;           ///< against trusting recordings or volts
  std::vector<judge::StageComparison> stages;  ///< a channel each, where there is a `before`
};

/// The document "railtap.onset/1": one line of JSON without a line end.
[[nodiscard]] system::Json onset_json(const OnsetDocument& document);

/// Verdict first, then what limits, then a plot of THD+N and the table of steps.
[[nodiscard]] std::string onset_text(const OnsetDocument& document);

/// The word for how steps were found, as in the JSON document.
[[nodiscard]] const char* name(StepsFound::By by);

}  // namespace railtap::report
