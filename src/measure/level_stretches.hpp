// SPDX-License-Identifier: MIT
// A recording cut by its level: into stretches of one level, however short, with the pauses between
// them; and, where a hand moves it, into rests and slices that can be measured.
#pragma once

#include <optional>
#include <vector>

#include "measure/steps.hpp"

namespace railtap::measure {

// A recording cut into stretches of one level, however short: the steps of a quick ladder, and the
// pauses between them.

/// A stretch of one level. Positions in samples; edges between levels are placed within 2 ms or so.
struct Stretch {
  double first = 0.0;
  double end = 0.0;
  double level_db = 0.0;  ///< median over its frames, dB re a full-scale square wave
  [[nodiscard]] double length() const { return end - first; }
};

/// Mean square of each frame about the mean of the 50 ms around it, full scales²; not below
/// −140 dB. A burst shorter than a coupling's transient has no other offset to be taken about; of a
/// tone below 50 Hz a part is taken away, the same of every step.
[[nodiscard]] std::vector<double> short_term_power(const LevelTrack& track);

/// The stretches of 30 ms and longer, in order of time. What lies between two of them is on its way
/// from one level to the other.
///
/// Found as the piecewise constant that fits the level of the frames best by least squares, each
/// piece costing as much as twenty-five variances: optimal partitioning with pruning (Killick,
/// Fearnhead, Eckley, J. Am. Stat. Assoc. 107 (2012) 1590). The variance is that of the
/// neighbouring frames' differences, so noise in a pause is not cut to pieces. Neighbours within
/// 0.12 dB are one stretch; an interruption of up to 30 ms that is not silence (a click, a knock)
/// is passed over.
[[nodiscard]] std::vector<Stretch> find_stretches(const LevelTrack& track);

// A level that a hand moves, cut into pieces that can be measured: rests, and slices between them.

/// Cuts a level that is turned by hand, with uneven speed, pauses, and down again. Where it rests
/// for 0.2 s it is one step, as `find_plateaus` has it. Everywhere else it is cut into slices over
/// which it moves by 0.8 dB, each 0.25 s at most and four cycles or 40 ms at least; fast turns move
/// by more over that. What moves faster than 30 dB/s is a jump and no turn, and is left out, as is
/// what is 80 dB below the loudest, or below −110 dB.
///
/// \param plateaus those of the track
/// \returns rests and slices (`gliding`) in order of time, numbered from 0
[[nodiscard]] std::vector<Step> cut_turned(const LevelTrack& track,
                                           const std::vector<Step>& plateaus);

}  // namespace railtap::measure
