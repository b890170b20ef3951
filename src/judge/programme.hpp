// SPDX-License-Identifier: MIT
// What is said of music and speech: whether its peaks are cut off at a rail; beside the track that
// was played, what the chain added.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "measure/flat_runs.hpp"
#include "measure/played_programme.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

// What is said of music and speech: whether its peaks are cut off at a rail.

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

// What is said of a recording of music beside the track that was played: what the chain added.

struct Findings;

/// One rail of the chain. What is absent was not reached.
struct PlayedRail {
  bool positive = true;
  std::optional<Dbfs> onset;            ///< of a sine that just reaches the rail
  std::optional<Volts> onset_v;         ///< its RMS
  std::optional<Volts> peak_v;          ///< its peak: the rail, as the tap sees it
  std::optional<Decibels> uncertainty;  ///< standard uncertainty of all three
  std::optional<Decibels> overdrive;    ///< of the worst peak over the rail
  std::int64_t peaks = 0;               ///< that the rail cut
  std::int64_t all_peaks = 0;           ///< above half of the highest
};

/// A channel against the track.
struct PlayedFindings {
  std::optional<bool> clipped;                         ///< by the chain; none: cannot tell
  std::optional<measure::PlayedMeasurement> measured;  ///< none: the track is not in it
  std::optional<Decibels> gain, residual;
  /// What would not show, by how much peaks are over a rail: of most peaks, and of those of single
  /// samples.
  std::optional<Decibels> unseen, unseen_single;
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
