// SPDX-License-Identifier: MIT
// Two recordings of one tone with different attenuation in front of the input: whether the
// amplifier or the input flattens the waveform.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "judge/analysis.hpp"
#include "measure/clipped_sine.hpp"
#include "measure/recording.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// Who flattens the tops, by what more attenuation does to them.
enum class OverloadSource {
  none,       ///< the first recording is not flat
  amplifier,  ///< the flat level moves with the attenuation
  input,      ///< the flat level stays where it is in dBFS, or vanishes with more attenuation
  undecided   ///< it moves by something else: the volume, the gain or the load was changed too
};

/// What two recordings of one tone show. Levels are those of the rail that is hit harder.
struct OverloadFinding {
  OverloadSource source = OverloadSource::undecided;
  std::optional<Dbfs> flat_first, flat_second;  ///< level of a sine whose peak is the flat level
  std::optional<Decibels> moved;                ///< of the flat level, second re first
  std::string sentence;
};

/// Judges two fits of the same tone at the same settings. An amplifier's rail is `attenuation`
/// lower in the second recording; the input's limit stays where it is in dBFS. The nearer of the
/// two decides, if it is within a quarter of the attenuation.
/// \param attenuation how much more there was in the second recording, > 0
[[nodiscard]] OverloadFinding judge_overload_source(const measure::ClippedSineFit& first,
                                                    const measure::ClippedSineFit& second,
                                                    Decibels attenuation);

/// Whether so many samples in a row at digital full scale are a clipped recording, which three are
/// (common practice).
[[nodiscard]] bool is_clipped_run(std::int64_t longest_run);

/// The word in the JSON document.
[[nodiscard]] const char* name(OverloadSource source);

/// The result of one channel: a finding, or why there is none.
struct ComparedChannel {
  int channel = 0;                       ///< from 1
  std::optional<OverloadFinding> found;  ///< none where the two cannot be compared
  std::optional<Decibels> level_moved;   ///< of the tone as if no rail were there, second re first
  std::string obstacle;  ///< why there is no finding, without a full stop; else empty
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

/// Replaces what one recording could only suppose by what the comparison shows: clipping that is
/// the input's becomes `input-overload`, and an overload that is the amplifier's becomes `clipped`.
void apply(ChannelAnalysis& first, const ComparedChannel& compared);

}  // namespace railtap::judge
