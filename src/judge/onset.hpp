// SPDX-License-Identifier: MIT
// Where on the way up clipping begins, from steps of rising level, by three criteria.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "judge/analysis.hpp"
#include "measure/known_steps.hpp"
#include "measure/ladder_alignment.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// What is known of the levels that were fed in.
struct LadderInput {
  std::optional<Dbfs> first;  ///< of step 0; none where only the rise is known
  Decibels rise{0.0};         ///< from step to step; < 0 for a falling ladder
};

/// The limits of the three criteria, and what turns dBFS into volts.
struct OnsetLimits {
  Limits analysis;            ///< THD+N limit: AES17-2015, 6.2.1 a, is 1 %
  Decibels compression{0.3};  ///< AES17-2015, 6.2.1 b
};

/// One step, in order of time.
struct OnsetStep {
  int index = 0;                 ///< from 1
  Seconds start{0.0}, end{0.0};  ///< in the recording
  std::optional<Dbfs> input;     ///< what was played; none where it is not known
  std::optional<Dbfs> level;     ///< RMS in the measuring band, DC excluded
  std::optional<Volts> level_v;  ///< the same, RMS volts
  std::optional<Decibels> gain;  ///< level over input: tone with harmonics, without noise
  std::optional<Percent> thdn;
  std::optional<Decibels> overdrive_positive, overdrive_negative;  ///< none: that rail is not flat
  bool moving = false;  ///< the level moved; all figures are those of the middle
  Verdict verdict = Verdict::unusable;
};

/// A level at which a criterion is just met.
struct OnsetPoint {
  std::optional<Dbfs> input;     ///< what was played; none where it is not known
  Dbfs level{0.0};               ///< as recorded, of fundamental and harmonics
  std::optional<Volts> level_v;  ///< the same, RMS volts
  Decibels uncertainty{0.0};     ///< standard uncertainty of either level
};

/// A share of the whole signal as a level: 1 % is -40 dB; and back. \param share > 0
[[nodiscard]] inline Decibels level_of_share(Percent share) {
  return decibels_from_amplitude_ratio(share.value() / 100.0);
}
[[nodiscard]] inline Percent share_of_level(Decibels level) {
  return Percent(100.0 * amplitude_ratio(level));
}

/// How far to either side a point may be: two standard uncertainties, about 95 % (JCGM 100:2008,
/// 6.3.3).
[[nodiscard]] inline Decibels expanded_uncertainty(const OnsetPoint& point) {
  return point.uncertainty * 2.0;
}

/// Where the recording input comes to its own limit.
struct InputOnset {
  OnsetPoint at;
  int step = 0;  ///< the lowest that is over it
};

/// A step of the ladder that is not in the recording.
struct MissingStep {
  int index = 0;              ///< from 1
  std::optional<Dbfs> input;  ///< what was played; none where it is not known
  measure::Absence why = measure::Absence::not_found;
};

/// The output went silent and stayed so up to the end of the recording.
struct WentSilent {
  int after_step = 0;            ///< the last that was heard
  bool amid_step = false;        ///< before it was over
  Seconds at{0.0};               ///< in the recording
  std::optional<Dbfs> level;     ///< of the last step that could be measured
  std::optional<Volts> level_v;  ///< the same, RMS volts
};

/// What a stage does on the way up to the loudest step that was recorded.
enum class OnsetVerdict {
  clips,             ///< tops go flat
  compresses,        ///< the gain falls, or the distortion rises, without flat tops
  clean_throughout,  ///< no criterion is met up to the highest step
  input_overload,    ///< the recording input is at its limit first
  no_ladder          ///< fewer than three steps of different level hold a tone
};

/// The levels at which the criteria are met on one way of a level that is turned by hand.
struct OnsetWay {
  std::optional<OnsetPoint> thdn, flat_top, compression;
};

/// What one channel's steps show.
struct ChannelOnset {
  int channel = 0;  ///< from 1
  std::vector<OnsetStep> steps;
  std::optional<OnsetPoint> thdn, flat_top, compression;
  std::optional<OnsetWay> down;  ///< the same on the way down; none where nothing was turned down
  bool only_down = false;  ///< the level only falls: what is above is that of the way down, too
  std::optional<InputOnset> input_onset;  ///< none: the recording input stays below its limit
  std::vector<MissingStep> missing_steps;
  std::optional<WentSilent> went_silent;
  std::optional<measure::Numbering> numbering;  ///< none where there is no ladder
  std::optional<int> highest_clean_step;        ///< its index
  std::optional<Decibels> small_signal_gain;    ///< as OnsetStep::gain, of vanishing input
  OnsetVerdict verdict = OnsetVerdict::no_ladder;
  std::vector<std::string> reasons;  ///< one sentence each
};

/// Judges the steps of one channel.
///
/// - THD+N: of the law that the harmonics of the first step over the limit give (`StaticLaw`), the
///   level at which the law's distortion with the noise reaches the limit; where the law does not
///   explain the step below, interpolated between the steps.
/// - Flat tops: each clipped step gives how far the sine is over the rail, so each gives the level
///   at which it would just touch; their weighted mean, or, where they drift (a supply that sags),
///   the point at which the line through the two lowest meets itself.
/// - Compression: the level at which the gain is `limits.compression` below that of the soft steps.
///
/// Of a level that is turned by hand, the steps on the way up count (all, where it never goes up),
/// and those on the way down are judged by themselves.
///
/// \param input where the steps are a ladder's, by their index; else they are sorted by level
[[nodiscard]] ChannelOnset judge_onset(int channel, const std::vector<measure::MeasuredStep>& steps,
                                       const std::optional<LadderInput>& input, Hertz rate,
                                       const OnsetLimits& limits);

/// The verdict's name as in the JSON document.
[[nodiscard]] const char* name(OnsetVerdict verdict);

/// Judges a step like a whole recording: measured steps of any signal.
/// \param rate samples per second, > 0
[[nodiscard]] Findings judge_step(const measure::MeasuredStep& measured, Hertz rate,
                                  const Limits& limits);

/// Judges a step like a whole recording and puts it in the document's terms.
/// \param rate samples per second, > 0
[[nodiscard]] OnsetStep describe_step(const measure::MeasuredStep& measured, Hertz rate,
                                      const std::optional<LadderInput>& input,
                                      const Limits& limits);

}  // namespace railtap::judge
