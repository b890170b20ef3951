// SPDX-License-Identifier: MIT
// From what was measured in a recording to a verdict with reasons, channel by channel.
#pragma once

#include <vector>

#include "judge/findings.hpp"
#include "measure/recording.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// A steady stretch of the recording; times from its start.
struct SegmentFindings {
  Seconds start{0.0}, end{0.0};
  Findings findings;
};

/// One channel: the findings hold for the longest steady tone, the verdict for the worst.
struct ChannelAnalysis {
  int channel = 0;  ///< from 1
  Findings findings;
  std::vector<SegmentFindings> segments;  ///< empty where one segment says it all
};

/// Judges one measured channel.
[[nodiscard]] ChannelAnalysis judge_channel(int channel, const measure::ChannelRecording& recording,
                                            Hertz rate, const Limits& limits);

/// Whether every verdict is within limits: exit status 0 of `analyze`. Silence is; music is.
[[nodiscard]] bool within_limits(const std::vector<ChannelAnalysis>& channels);

}  // namespace railtap::judge
