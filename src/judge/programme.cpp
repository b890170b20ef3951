// SPDX-License-Identifier: MIT
// From the peaks of music to a verdict.
#include "judge/programme.hpp"

#include <cmath>
#include <numbers>

#include "judge/analysis.hpp"
#include "judge/sentence.hpp"

namespace railtap::judge {
namespace {

using measure::FlatPeaks;

// Decades. One recording in a million looks so by chance at 6, of which two dozen views of each
// recording take some; but peaks of a mastering's fast limiter are no chance, and reach 7 (seen).
constexpr double enough = 12.0;
constexpr double plenty = 24.0;
// From here on a rail is suspected.
constexpr double suspicious = 3.0;
// Tops of one rail: a coupling between the corners tried leaves this much of its drift, and a
// supply that gives way moves the rail by as much (common practice).
constexpr double widest_spread = 0.05;
constexpr double most_above = 0.2;
constexpr std::int64_t least_flat = 2;
// Of what the other rail lets through: the rails of one stage differ by less (common practice).
constexpr double lowest_rail = 0.5;
// Fewer high peaks than this do not show that a rail is missing.
constexpr std::int64_t least_high = 5;
// Two rails of one stage differ by less than this (common practice).
constexpr Decibels alike{1.0};

bool at_one_level(const FlatPeaks& peaks) {
  return peaks.flat >= least_flat && peaks.spread <= widest_spread && peaks.above <= most_above;
}

// Peaks of a pulse-like sound are flat on one side by nature, far below those of the other side.
double evidence_of(const FlatPeaks& peaks, const FlatPeaks& other) {
  if (peaks.level < lowest_rail * other.highest) return 0.0;
  return at_one_level(peaks) ? peaks.evidence : 0.0;
}

bool rails_alike(const FlatPeaks& a, const FlatPeaks& b) {
  if (!at_one_level(a) || !at_one_level(b)) return false;
  return std::abs(decibels_from_amplitude_ratio(a.level / b.level).value()) < alike.value();
}

RailPeaks rail_of(const FlatPeaks& peaks, bool positive, double evidence, bool found,
                  const Limits& limits) {
  RailPeaks rail;
  rail.positive = positive;
  rail.evidence_decades = evidence;
  rail.highest_peaks = peaks.near;
  if (!found) return rail;
  rail.flat_runs = peaks.flat;
  if (peaks.all > 0) {
    rail.share_of_peaks =
        Percent(100.0 * static_cast<double>(peaks.flat) / static_cast<double>(peaks.all));
  }
  rail.longest = peaks.longest;
  rail.total = peaks.total;
  rail.level = dbfs_from_sine_peak(peaks.level);
  if (limits.volts_per_full_scale) {
    rail.peak_v = *limits.volts_per_full_scale * peaks.level;
    rail.level_v = *rail.peak_v / std::numbers::sqrt2;
  }
  return rail;
}

std::string rail_sentence(const RailPeaks& rail) {
  std::string text = std::string("The highest ") + (rail.positive ? "positive" : "negative") +
                     " peaks are flat at one level, " + sentence("%.2f dBFS", rail.level->value());
  if (rail.peak_v) text += sentence(" (%.4g V)", rail.peak_v->value());
  return text +
         sentence(": %.0f of %.0f", static_cast<double>(rail.flat_runs),
                  static_cast<double>(rail.highest_peaks)) +
         sentence(", up to %.2g ms long.", 1e3 * rail.longest->value());
}

}  // namespace

ProgrammeFindings judge_programme(const FlatPeaks& positive, const FlatPeaks& negative,
                                  const Limits& limits) {
  const double up = evidence_of(positive, negative), down = evidence_of(negative, positive);
  const bool both = rails_alike(positive, negative) && up + down >= enough;
  const double evidence = both ? up + down : std::max(up, down);
  ProgrammeFindings found;
  found.rails.push_back(rail_of(positive, true, up, up >= enough || both, limits));
  found.rails.push_back(rail_of(negative, false, down, down >= enough || both, limits));
  if (evidence >= enough) {
    found.clipped = true;
    found.confidence = evidence >= plenty ? Confidence::high : Confidence::fair;
    for (const RailPeaks& rail : found.rails)
      if (rail.flat_runs > 0) found.reasons.push_back(rail_sentence(rail));
    found.hint =
        "A track that was clipped when it was made looks the same: --played TRACK tells whose they "
        "are.";
    return found;
  }
  const bool few = std::min(positive.high, negative.high) < least_high;
  if (evidence >= suspicious || few) {
    found.reasons.emplace_back(
        evidence >= suspicious
            ? "Some of the highest peaks look flat, too few of them to tell whether they are cut."
            : "Too few of the highest peaks are long enough to tell whether they are flat.");
    found.hint = "Record more of it, or compare with what was played: --played TRACK.";
    return found;
  }
  found.clipped = false;
  found.confidence = Confidence::fair;
  found.reasons.emplace_back(
      "The highest peaks are round: no rail shows. A decibel or two over can hide in music.");
  found.hint = "Compare with what was played to see it: --played TRACK.";
  return found;
}

void apply(Findings& findings, const ProgrammeFindings& programme, HintAtTrack hint) {
  findings.reasons.insert(findings.reasons.end(), programme.reasons.begin(),
                          programme.reasons.end());
  if (hint == HintAtTrack::yes) findings.reasons.push_back(programme.hint);
  if (findings.verdict != Verdict::no_tone || !programme.clipped.value_or(false)) return;
  findings.verdict = Verdict::clipped;
  findings.clipped = true;
  findings.cause.reset();
  findings.flat_top.present = true;
}

const char* name(Confidence confidence) {
  switch (confidence) {
    case Confidence::none:
      return "none";
    case Confidence::fair:
      return "fair";
    case Confidence::high:
      return "high";
  }
  return "none";
}

}  // namespace railtap::judge
