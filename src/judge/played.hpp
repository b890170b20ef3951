// SPDX-License-Identifier: MIT
// What is said of a recording of music beside the track that was played: what the chain added.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "judge/programme.hpp"
#include "measure/played_programme.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

struct Findings;

/// One rail of the chain. What is absent was not reached.
struct PlayedRail {
  bool positive = true;
  std::optional<Dbfs> onset;          ///< of a sine that just reaches the rail
  std::optional<Volts> onset_v;       ///< its RMS
  std::optional<Volts> peak_v;        ///< its peak: the rail, as the tap sees it
  std::optional<Decibels> overdrive;  ///< of the worst peak over the rail
  std::int64_t peaks = 0;             ///< that the rail cut
  std::int64_t all_peaks = 0;         ///< above half of the highest
};

/// A channel against the track.
struct PlayedFindings {
  std::optional<bool> clipped;                         ///< by the chain; none: cannot tell
  std::optional<measure::PlayedMeasurement> measured;  ///< none: the track is not in it
  std::optional<Decibels> gain, residual;
  std::vector<PlayedRail> rails;  ///< positive, negative; empty where nothing was measured
  std::vector<std::string> reasons;
};

/// Judges what was measured. \param measured none where the track was not found
[[nodiscard]] PlayedFindings judge_played(const std::optional<measure::PlayedMeasurement>& measured,
                                          const Limits& limits);

/// Puts it into what was found of the channel. What the chain did to the track overrules what the
/// peaks alone tell. \param programme what they tell, where they were looked at
void apply(Findings& findings, const std::optional<ProgrammeFindings>& programme,
           const PlayedFindings& played);

/// As in the JSON document: "left", "right", "mono", "either".
[[nodiscard]] const char* side_name(const measure::PlayedMeasurement& measured);

}  // namespace railtap::judge
