// SPDX-License-Identifier: MIT
// What the demo learns from rising levels, found and judged as `railtap onset` does.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "command/demo_folder.hpp"
#include "judge/onset.hpp"
#include "report/demo.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

/// Judges a capture's ladder or rising level, a channel each. Its document is left in results/ as
/// NAME-onset.json. \throws Error where an announced ladder is not in it
[[nodiscard]] std::vector<judge::ChannelOnset> judge_rising_level(const DemoFolder& folder,
                                                                  const std::string& name,
                                                                  const judge::Limits& limits);

/// The lowest voltage at which the tops of any channel go flat; none where none do.
[[nodiscard]] std::optional<Volts> lowest_flat_top(
    const std::vector<judge::ChannelOnset>& channels);

/// The volumes that were tried, one after the other.
struct VolumesTried {
  int first = 0, last = 0;
  Seconds start{0.0};  ///< of the first, in the recording
  Seconds dwell{0.0};  ///< from one to the next
};

/// The head unit's limit: the highest volume at which every channel is clean.
/// \param channels one or more; \param place for the error \throws Error where the steps are not
/// those volumes, or none is clean
[[nodiscard]] report::DemoHeadUnit head_unit_limit(const std::vector<judge::ChannelOnset>& channels,
                                                   VolumesTried tried, const std::string& place);

}  // namespace railtap::command
