// SPDX-License-Identifier: MIT
// Two recordings of one tone with different attenuation in front of the input, compared channel by
// channel.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "judge/analysis.hpp"
#include "judge/overload_source.hpp"
#include "measure/recording.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// What one channel says: a finding, or what stands against one.
struct ComparedChannel {
  int channel = 0;                       ///< from 1
  std::optional<OverloadFinding> found;  ///< none where the two cannot be compared
  std::optional<Decibels> level_moved;   ///< of the tone as if no rail were there, second re first
  std::string obstacle;                  ///< a sentence where there is no finding, else empty
};

/// Compares the longest tone of each channel. It must have the same frequency in both (within
/// 0.1 %: one player and one input), and be softer in the second by the attenuation, within a
/// quarter of it: else it is not the same tone at the same settings, and nothing follows.
/// \param second as many channels as `first`
/// \param attenuation how much more there was in the second recording, > 0
[[nodiscard]] std::vector<ComparedChannel> compare_attenuation(
    const std::vector<measure::ChannelRecording>& first,
    const std::vector<measure::ChannelRecording>& second, Decibels attenuation);

/// Whether any channel has a finding.
[[nodiscard]] bool any_found(const std::vector<ComparedChannel>& channels);

/// Lets the comparison overrule what one recording could only suppose: clipping that is the
/// input's becomes `input-overload`, and an overload that is the amplifier's becomes `clipped`.
void apply(ChannelAnalysis& first, const ComparedChannel& compared);

}  // namespace railtap::judge
