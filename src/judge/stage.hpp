// SPDX-License-Identifier: MIT
// Which of two stages clips first: what goes into the amplifier is compared with what comes out.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "judge/onset.hpp"

namespace railtap::judge {

/// Which stage is the first to clip on the way up.
enum class FirstStage {
  source,     ///< the amplifier passes on a waveform that is clipped already
  amplifier,  ///< it clips while what it is given is clean
  both,       ///< both begin at the same level, or the amplifier adds to a clipped source at once
  none,       ///< neither clips in the recording
  unknown     ///< the two recordings do not match
};

/// One step in both recordings. Overdrives are those of the rail that is hit harder; 0 where the
/// waveform is not flat.
struct StageStep {
  int index = 0;
  Decibels before{0.0}, after{0.0};
  Decibels added{0.0};  ///< what the amplifier adds, >= 0
  std::optional<Percent> thdn_before, thdn_after;
};

/// The comparison of one channel.
struct StageComparison {
  FirstStage first = FirstStage::unknown;
  std::vector<StageStep> steps;
  std::optional<int> first_step_before, first_step_after;  ///< the lowest step that is not clean
  std::optional<int> first_step_added;  ///< the lowest step in which the amplifier adds to it
  std::string sentence;
};

/// Compares the same ladder before and after the amplifier, step by step. A sine that is clipped
/// before a clean amplifier comes out with the same overdrive, for overdrive is a ratio; so what
/// the amplifier adds is the difference. Steps are matched by their index.
/// \param added_limit differences up to this are none: the uncertainty of two overdrives, and what
/// filters between the stages change
[[nodiscard]] StageComparison compare_stages(const ChannelOnset& before, const ChannelOnset& after,
                                             Decibels added_limit = Decibels(0.1));

/// The word in the JSON document.
[[nodiscard]] const char* name(FirstStage stage);

}  // namespace railtap::judge
