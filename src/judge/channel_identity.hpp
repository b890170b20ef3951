// SPDX-License-Identifier: MIT
// Which of the source's channels a recorded channel carries, and whether it is the right way round.
#pragma once

#include <array>
#include <optional>
#include <string>

#include "measure/marker.hpp"
#include "units/quantity.hpp"

namespace railtap::judge {

/// Which of the source's sides arrive: one alone, both alike (a sum), or none. `cannot_tell` where
/// the weaker one is too strong for a side alone and too weak for a sum, or where noise could hide
/// it.
enum class Carries { left, right, both, silent, cannot_tell };

/// What a recorded channel carries, and the levels that show it.
struct ChannelIdentity {
  Carries carries = Carries::cannot_tell;
  std::string reason;               ///< one sentence
  std::optional<Dbfs> left, right;  ///< RMS of the side's line that was compared; none below noise
  bool low = false;                 ///< compared by the pattern's low pair of frequencies
  /// By how much the other side's line lies below the channel's own, > 0, where it carries one;
  /// `separation_at_least` where noise hid the other side's.
  std::optional<Decibels> separation;
  bool separation_at_least = false;
};

/// What a channel is known to do to the pattern's lines, in their order; none where nothing is
/// known.
using PatternResponse = std::array<std::optional<Decibels>, 4>;

/// Decides by the pair of frequencies that is further above the noise; by the low pair where
/// only its response is known, as behind a low-pass. From 12 dB of
/// difference on a channel carries one side, up to 6 dB it carries both, and in between nothing is
/// said: the worst separation of a working channel is well over 20 dB, and a sum has equal shares
/// (common practice). \param response taken out first, where it is known at both lines of the pair
[[nodiscard]] ChannelIdentity judge_channel_identity(const measure::PatternReading& reading,
                                                     const PatternResponse& response);

/// "left", "right", "both", "silent" or "cannot-tell".
[[nodiscard]] const char* name(Carries carries);

/// Which way up the pulses arrive: as they were played, or with plus and minus exchanged.
enum class Polarity { in, inverted, cannot_tell };

/// The polarity of one channel, and how clear it is.
struct PolarityVerdict {
  Polarity polarity = Polarity::cannot_tell;
  std::string reason;   ///< one sentence
  double margin = 0.0;  ///< measure::PolarityFit::margin
};

/// Decides from a margin of 0.25 on; filters that turn the orders' phases against each other
/// lower it. \param filters_known whether the fit has taken out what filters turn
[[nodiscard]] PolarityVerdict judge_polarity(const measure::PolarityFit& fit, bool filters_known);

/// "in", "inverted" or "cannot-tell".
[[nodiscard]] const char* name(Polarity polarity);

}  // namespace railtap::judge
