// SPDX-License-Identifier: MIT
// Whether a channel is the right way round.
#pragma once

#include <string>

#include "measure/polarity.hpp"

namespace railtap::judge {

/// Which way up the pulses arrive: as they were played, or with plus and minus exchanged.
enum class Polarity { in, inverted, cannot_tell };

/// The polarity of one channel, and how clearly it is told.
struct PolarityVerdict {
  Polarity polarity = Polarity::cannot_tell;
  std::string reason;   ///< one sentence
  double margin = 0.0;  ///< measure::PolarityFit::margin
};

/// Speaks up from a margin of 0.25 on; filters that turn the orders' phases against each other
/// lower it. \param filters_known whether the fit has taken out what filters turn
[[nodiscard]] PolarityVerdict judge_polarity(const measure::PolarityFit& fit, bool filters_known);

/// "in", "inverted" or "cannot-tell".
[[nodiscard]] const char* name(Polarity polarity);

}  // namespace railtap::judge
