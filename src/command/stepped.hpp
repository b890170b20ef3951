// SPDX-License-Identifier: MIT
// A recording of rising levels read from its file, its steps found and measured.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <vector>

#include "audio/stream.hpp"
#include "command/recorded.hpp"
#include "judge/onset.hpp"
#include "measure/known_steps.hpp"
#include "measure/ladder_alignment.hpp"
#include "report/onset.hpp"

namespace railtap::command {

/// The ladder as the person described it.
struct LadderOptions {
  Dbfs from{0.0}, to{0.0};
  Decibels step{0.0};  ///< > 0
};

/// One channel's steps, and what is known of what was fed in.
struct SteppedChannel {
  std::vector<measure::MeasuredStep> steps;
  std::optional<judge::LadderInput> input;  ///< none: a hand on a knob
  std::optional<measure::AlignedLadder> ladder;
  int planned = 0;  ///< steps that were played; 0: not known
  report::StepsFound found;
};

/// One recording of rising levels. Lists have its channels in order, channel 1 first.
struct Stepped {
  audio::StreamFormat format;
  std::int64_t frames = 0;  ///< read, per channel
  std::vector<SteppedChannel> channels;
  Provenance provenance;
};

/// Reads a file twice: to find the steps, and to measure them. A ladder is found by `ladder`, else
/// by its marker, else by regular steps of level; else the steps are wherever the level stands
/// still. Of a ladder that is not whole, the steps that are there. Throws Error for what cannot be
/// read, and where a described ladder is not in it.
[[nodiscard]] Stepped measure_steps(const std::filesystem::path& path, const judge::Limits& limits,
                                    const std::optional<LadderOptions>& ladder);

/// Judges one channel, and tells what its ladder lacks.
[[nodiscard]] judge::ChannelOnset judge_stepped_channel(const Stepped& stepped, std::size_t channel,
                                                        const judge::OnsetLimits& limits);

/// Judges every channel.
[[nodiscard]] std::vector<judge::ChannelOnset> judge_stepped(const Stepped& stepped,
                                                             const judge::OnsetLimits& limits);

}  // namespace railtap::command
