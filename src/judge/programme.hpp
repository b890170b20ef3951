// SPDX-License-Identifier: MIT
// What is said of music and speech: whether its peaks are cut off at a rail.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "measure/flat_peaks.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

struct Findings;
struct Limits;

/// Flat peaks at one rail. What is absent was not found.
struct RailPeaks {
  bool positive = true;
  std::int64_t flat_runs = 0;
  std::int64_t highest_peaks = 0;  ///< as high as the flat ones or higher
  Percent share_of_peaks{0.0};     ///< flat ones, of all peaks above half of the highest
  std::optional<Seconds> longest, total;
  std::optional<Dbfs> level;      ///< of a sine that just reaches the flat tops
  std::optional<Volts> level_v;   ///< its RMS
  std::optional<Volts> peak_v;    ///< its peak: the rail, as the tap sees it
  double evidence_decades = 0.0;  ///< −log10 of the chance that this is not a rail
};

/// How sure a statement on music is.
enum class Confidence { none, fair, high };

/// What the peaks of a channel tell.
struct ProgrammeFindings {
  std::optional<bool> clipped;  ///< none: cannot tell
  Confidence confidence = Confidence::none;
  std::vector<RailPeaks> rails;  ///< positive, negative; flat_runs is 0 where none was found
  std::vector<std::string> reasons;
  std::string hint;  ///< what the track would tell; said where it was not given
};

/// Whether to say what the track would tell.
enum class HintAtTrack { no, yes };

/// Judges the peaks of one channel.
[[nodiscard]] ProgrammeFindings judge_programme(const measure::FlatPeaks& positive,
                                                const measure::FlatPeaks& negative,
                                                const Limits& limits);

/// Puts them into what was found of the channel; a cut becomes its verdict where it has no other.
void apply(Findings& findings, const ProgrammeFindings& programme, HintAtTrack hint);

/// As in the JSON document: "none", "fair", "high".
[[nodiscard]] const char* name(Confidence confidence);

}  // namespace railtap::judge
