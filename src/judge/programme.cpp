// SPDX-License-Identifier: MIT
// What is said of music and speech: whether its peaks are cut off at a rail; beside the track that
// was played, what the chain added.
#include "judge/programme.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "judge/analysis.hpp"
#include "judge/sentence.hpp"

namespace railtap::judge {

// From the peaks of music to a verdict.

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
    found.hint =
        "Record more of it, or compare with what was played: --played TRACK. A level ladder is "
        "for `railtap onset`, a sweep or pulses for `railtap verify`; for THD+N play one steady "
        "tone.";
    return found;
  }
  found.clipped = false;
  found.confidence = Confidence::fair;
  found.reasons.emplace_back(
      "The highest peaks are round: no clipping shows. One or two decibels of it can go unnoticed "
      "in music.");
  found.hint = "Compare with what was played to see it: --played TRACK.";
  return found;
}

void apply(Findings& findings, const ProgrammeFindings& programme, HintAtTrack hint) {
  // Of one tone whose pitch moves the peaks tell little, and no track is asked for.
  const bool one_tone = findings.cause && (findings.cause->kind == CauseKind::speed_wavering ||
                                           findings.cause->kind == CauseKind::frequency_moving);
  if (one_tone && !programme.clipped.value_or(false)) return;
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

// From a comparison with the track to what the chain added.

namespace {

using measure::AddedRail;
using measure::PlayedMeasurement;

// A linear chain explains a recording better than this, or something else is going on.
constexpr Decibels worst_residual{-20.0};
// A channel of which less is explained carries something else, or the track at another place.
constexpr Decibels barely_explained{-3.0};
// What is missing at a rail must be four times the misfit (added_clipping.hpp); a parabola's RMS is
// 0.53 of its height (derived: √(8/15) of the mean square, and a knee below it).
constexpr double visible = 4.0;
constexpr double visible_over_misfit = visible / 0.53;
// Of a peak as narrow as the sampling rate allows, a sine's at 0.4 of it, a rail that it exceeds by
// h takes away h^1.5 · 0.5 in RMS of the few samples that show it (derived: two thirds of h times
// the width √(2·h)/(π·0.4), spread by the low-pass; 0.6 · h^1.5 in recordings).
constexpr double narrow_missing = 0.5;
// Where less would not show than that, nothing is said.
constexpr Decibels worst_bound{1.0};
// The fit of the chain takes up half of what a clipped input changes, or less.
constexpr double taken_up = 2.0;
constexpr double shortfall_of_compression = 0.03;

// Of a rail's level. What recordings come to that leave little unexplained, dB (trials); what is
// left unexplained comes on top.
constexpr double rail_known_to_db = 0.035;

Decibels rail_uncertainty(double residual) {
  return Decibels(
      std::hypot(rail_known_to_db, decibels_from_amplitude_ratio(1.0 + residual).value()));
}

PlayedRail rail_of(const AddedRail& measured, double residual, bool positive,
                   const Limits& limits) {
  PlayedRail rail;
  rail.positive = positive;
  rail.all_peaks = measured.all_peaks;
  if (!measured.flat) return rail;
  rail.onset = dbfs_from_sine_peak(measured.level);
  rail.uncertainty = rail_uncertainty(residual);
  rail.overdrive = decibels_from_amplitude_ratio(measured.overdrive);
  rail.peaks = measured.peaks;
  if (limits.volts_per_full_scale) {
    rail.peak_v = *limits.volts_per_full_scale * measured.level;
    rail.onset_v = *rail.peak_v / std::numbers::sqrt2;
  }
  return rail;
}

std::string rail_sentence(const PlayedRail& rail) {
  std::string text =
      std::string("The chain clips at the ") + (rail.positive ? "positive" : "negative") +
      " rail, " +
      sentence("%.2f dBFS, ±%.2f dB", rail.onset->value(), 2.0 * rail.uncertainty->value());
  if (rail.peak_v) {
    text += sentence(" (%.4g V peak, a sine of %.4g V RMS)", rail.peak_v->value(),
                     rail.onset_v->value());
  }
  return text +
         sentence(": %.0f of %.0f peaks", static_cast<double>(rail.peaks),
                  static_cast<double>(rail.all_peaks)) +
         sentence(", the worst over by %.2f dB.", rail.overdrive->value());
}

const char* carried_words(const PlayedMeasurement& m) {
  if (m.sides_alike) return "both sides, which are alike,";
  switch (m.side) {
    case measure::PlayedSide::left:
      return "the left side";
    case measure::PlayedSide::right:
      return "the right side";
    case measure::PlayedSide::sum:
      return "both sides as mono";
  }
  return "both sides as mono";
}

std::string place_sentence(const PlayedMeasurement& m, Decibels gain, Decibels residual) {
  return std::string("It carries ") + carried_words(m) + " of the track" +
         (m.inverted ? ", inverted" : "") + sentence(", which starts at %.3f s", m.delay.value()) +
         sentence("; the player's clock differs by %.1f ppm", 1e6 * (m.clock_ratio - 1.0)) +
         sentence("; gain %.2f dB, unexplained %.1f dB.", gain.value(), residual.value());
}

// Peaks that fall short and are not flat.
bool compresses(const AddedRail& rail, double residual) {
  return !rail.flat && rail.peaks > 0 &&
         rail.shortfall > std::max(shortfall_of_compression, visible * residual);
}

// What exceeds a rail by `share` of it; not less than what is looked for.
Decibels over_by(double share) {
  return std::max(Decibels(0.1), decibels_from_amplitude_ratio(1.0 + share));
}

}  // namespace

PlayedFindings judge_played(const std::optional<PlayedMeasurement>& measured,
                            const Limits& limits) {
  PlayedFindings found;
  found.measured = measured;
  if (!measured || measured->clipping.residual > amplitude_ratio(barely_explained)) {
    found.measured.reset();
    found.reasons.emplace_back(
        "The track is not found in this channel: is it the one that was played, at its speed? "
        "Where a filter leaves too little of it to find it, play a tone.");
    return found;
  }
  const auto& clipping = measured->clipping;
  found.gain = decibels_from_amplitude_ratio(std::max(1e-12, measured->gain));
  found.residual = decibels_from_amplitude_ratio(std::max(1e-12, clipping.residual));
  found.unseen = over_by(visible_over_misfit * clipping.residual);
  found.unseen_single = over_by(std::pow(visible * clipping.residual / narrow_missing, 2.0 / 3.0));
  found.rails = {rail_of(clipping.positive, clipping.residual, true, limits),
                 rail_of(clipping.negative, clipping.residual, false, limits)};
  found.reasons.push_back(place_sentence(*measured, *found.gain, *found.residual));
  if (clipping.positive.flat || clipping.negative.flat) {
    found.clipped = true;
    for (const PlayedRail& rail : found.rails)
      if (rail.onset) found.reasons.push_back(rail_sentence(rail));
    return found;
  }
  if (*found.residual > worst_residual) {
    found.reasons.emplace_back(
        "That is more than a chain of amplifiers adds: a control that was turned, an automatic "
        "level, an effect, a lossy recording, another version of the track, or a bass channel that "
        "holds too little of it; whether anything clips cannot be told.");
    return found;
  }
  if (compresses(clipping.positive, clipping.residual) ||
      compresses(clipping.negative, clipping.residual)) {
    found.reasons.emplace_back(
        "The highest peaks fall short of the track's without being flat: a limiter, a soft knee, "
        "or clipping in front of a filter; whether it clips cannot be told.");
    return found;
  }
  if (clipping.departure > visible * clipping.residual) {
    found.reasons.push_back(
        sentence(
            "For moments the recording is off what a linear chain makes of the track, by up to "
            "%.0f %% of the highest peak: clipping in front of a filter, clicks or gaps; "
            "whether it clips cannot be told. ",
            100.0 * clipping.departure) +
        "Switch the filter off, or record in front of it.");
    return found;
  }
  const std::string unseen =
      sentence("less than %.1f dB over would not show", found.unseen->value()) +
      sentence(", or %.1f dB in peaks of single samples.", found.unseen_single->value());
  if (*found.unseen > worst_bound) {
    found.reasons.push_back("No clipping shows, but " + unseen +
                            " Whether anything clips cannot be told.");
    return found;
  }
  if (clipping.in_front < taken_up * visible * clipping.residual) {
    found.reasons.push_back("Nothing is cut at this output: " + unseen +
                            " Of clipping by 1 dB in front of its filter, the filter leaves too "
                            "little to show here: whether anything clips there cannot be told. "
                            "Switch the filter off, or record in front of it.");
    return found;
  }
  found.clipped = false;
  found.reasons.push_back("The chain adds no clipping: the highest peaks follow the track; " +
                          unseen);
  return found;
}

void apply(Findings& findings, const std::optional<ProgrammeFindings>& programme,
           const PlayedFindings& played) {
  findings.reasons.insert(findings.reasons.end(), played.reasons.begin(), played.reasons.end());
  const bool looks_clipped = programme && programme->clipped.value_or(false);
  if (!played.clipped) {
    if (programme) apply(findings, *programme, HintAtTrack::no);
    return;
  }
  if (!*played.clipped && looks_clipped)
    findings.reasons.emplace_back("Peaks that are flat in this recording are the track's own.");
  if (findings.verdict != Verdict::no_tone || !*played.clipped) return;
  findings.verdict = Verdict::clipped;
  findings.clipped = true;
  findings.cause.reset();
  findings.flat_top.present = true;
}

const char* side_name(const PlayedMeasurement& measured) {
  if (measured.sides_alike) return "either";
  switch (measured.side) {
    case measure::PlayedSide::left:
      return "left";
    case measure::PlayedSide::right:
      return "right";
    case measure::PlayedSide::sum:
      return "mono";
  }
  return "mono";
}

}  // namespace railtap::judge
