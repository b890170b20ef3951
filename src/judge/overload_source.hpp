// SPDX-License-Identifier: MIT
// Whether the amplifier or the recording input flattens a waveform, from two recordings with
// different attenuation in front of the input.
#pragma once

#include <optional>
#include <string>

#include "measure/clipped_sine.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// Who flattens the tops, by what more attenuation does to them.
enum class OverloadSource {
  none,       ///< the first recording is not flat
  amplifier,  ///< the flat level moves with the attenuation
  input,      ///< the flat level stays where it is in dBFS, or vanishes with more attenuation
  undecided   ///< it moves by something else: the volume, the gain or the load was changed too
};

/// What two recordings of one tone say. Levels are those of the rail that is hit harder.
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

/// The word in the JSON document.
[[nodiscard]] const char* name(OverloadSource source);

}  // namespace railtap::judge
