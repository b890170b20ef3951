// SPDX-License-Identifier: MIT
// What the parts of the alignment of a ladder share: its steps so far, and what is heard in a
// place.
#pragma once

#include <cmath>
#include <cstddef>
#include <optional>
#include <vector>

#include "measure/ladder.hpp"
#include "measure/ladder_alignment.hpp"
#include "measure/level_stretches.hpp"

namespace railtap::measure::ladder_parts {

inline constexpr double fall_db = 3.0;      // a stage that protects itself falls less; silence more
inline constexpr double follows_db = 0.5;   // a step is where it is expected
inline constexpr double near_edge = 0.2;    // of a period: an edge that belongs to a step
inline constexpr double tone_end_db = 6.0;  // below the step: its tone is over
inline constexpr double least_seen_s = 0.04;  // so much silence tells that a step is not there
inline constexpr double least_length = 0.25;  // of a step
inline constexpr double cut_s = 0.006;        // less than this may be missing of a whole step
inline constexpr double least_inner_s = 0.03;

/// A step that is there, or a part of one.
struct Unit {
  int index;          // counted from the chain's first
  double first, end;  // samples; of a step that begins before the recording, first < 0
  double level_db;
  bool whole;
};

/// The recording, and the chain of its stretches that are steps.
struct Context {
  const LevelTrack& track;
  std::vector<double> power;  // mean square of each frame
  std::vector<Stretch> stretches;
  LadderChain chain;
  bool planned = false;  // how many steps there are is known
  double noise = 0.0;    // mean square in pauses; 0 where none is heard
  [[nodiscard]] double rate() const { return track.rate.value(); }
  [[nodiscard]] double samples() const { return static_cast<double>(track.samples); }
  [[nodiscard]] double dwell() const { return chain.pace.dwell; }
  [[nodiscard]] double period() const { return chain.pace.period; }
};

inline double to_db(double mean_square) {
  return 10.0 * std::log10(mean_square);
}
inline double to_power(double db) {
  return std::pow(10.0, db / 10.0);
}

/// Median level, dB, so that a click or a knock does not count; none where no whole frame lies
/// between two samples.
[[nodiscard]] std::optional<double> level_between(const Context& context, double first, double end);

struct Frames {
  std::size_t first = 0, end = 0;
  [[nodiscard]] bool empty() const { return end <= first; }
};

/// The whole frames between two samples.
[[nodiscard]] Frames frames_between(const Context& context, double first, double end);

/// How far a whole step's length may be off, samples.
[[nodiscard]] double cut_tolerance(const Context& context);
[[nodiscard]] bool is_whole(const Context& context, double length);

/// Steps that follow each other without silence have to be told by their times where the level does
/// not show them; others are told by the silence.
[[nodiscard]] bool goes_by_time(const Context& context);

/// Which ends of the ladder the recording shows.
struct Ends {
  bool start_seen = false, end_seen = false;
};

/// From the first to the last, those between included.
[[nodiscard]] int span_of(const std::vector<Unit>& units);

/// Takes in steps at both ends until something else is there. \param most units in all
[[nodiscard]] Ends carry_on_both_ways(const Context& context, std::vector<Unit>& units, int most);

/// Of more units than a ladder has steps, gives up those in front that are something else, as loud
/// as softer steps would be: first what is off the pace, then what only its level joined to the
/// chain.
void give_up_softer(const Context& context, std::vector<Unit>& units, int steps);

/// Takes in louder steps until something else is there. \param most units in all
/// \returns whether the recording shows the ladder's end
[[nodiscard]] bool carry_on_later(const Context& context, std::vector<Unit>& units, int most);

/// Takes in, at their times, steps in front that something else hides in part.
void take_in_earlier(const Context& context, std::vector<Unit>& units);

/// Takes in steps that come back after a silence, at their times.
void take_in_later(const Context& context, std::vector<Unit>& units, int last_index);

/// Where the last tone is heard: the end of the last step, or of what began after it and is too
/// short to be one.
[[nodiscard]] double last_heard(const Context& context, const Unit& last);
/// Whether the tone ends where a step does.
[[nodiscard]] bool ends_on_time(const Context& context, const Unit& last);

/// Adds the steps that are not among the units, and why. \param planned how many there are; 0: not
/// known
void add_missing(const Context& context, const std::vector<Unit>& units, int planned,
                 AlignedLadder& ladder);

/// Whether and where the output went silent; none where the ladder is not known: its player may
/// have been stopped anywhere.
[[nodiscard]] std::optional<Muting> muting(const Context& context, const std::vector<Unit>& units,
                                           int planned);

}  // namespace railtap::measure::ladder_parts
