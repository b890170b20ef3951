// SPDX-License-Identifier: MIT
// The stretches of a recording that are steps of a ladder, by the multiples of its rise and their
// times.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "measure/level_stretches.hpp"

namespace railtap::measure {

/// How steps follow each other, in samples.
struct Pace {
  double period = 0.0;   ///< from the start of a step to that of the next
  double dwell = 0.0;    ///< of a step; the period less its pause
  double scatter = 0.0;  ///< of the steps' lengths about it: three standard deviations
  bool regular = false;  ///< most steps follow at this period
  bool paused = false;   ///< with silence between them
};

/// One stretch that is a step.
struct Link {
  std::size_t stretch = 0;
  int index = 0;  ///< counted from the chain's first, which is 0
};

struct LadderChain {
  std::vector<Link> links;  ///< in order of time
  Pace pace;
  double rise_db = 0.0;
};

/// The best chain of stretches whose levels differ by multiples of a rise.
/// \param rise_db what the rise is; none where it is to be found
/// \returns none where fewer than three stretches (six at one pace, where the rise is not known)
/// are steps of one ladder
[[nodiscard]] std::optional<LadderChain> find_chain(const std::vector<Stretch>& stretches,
                                                    std::optional<double> rise_db, Hertz rate);

/// How many periods after the stretch `from` the stretch `to` starts. That of a stretch with which
/// the recording begins, amid a step, is told by its end.
[[nodiscard]] double periods_between(const Stretch& from, const Stretch& to, const Pace& pace);

/// Where a step starts; before the recording, where that begins amid it.
[[nodiscard]] double start_of(const Stretch& stretch, const Pace& pace);

}  // namespace railtap::measure
