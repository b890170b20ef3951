// SPDX-License-Identifier: MIT
// What is heard in a place of a recording, and whether a step is whole.
#include "measure/ladder_parts.hpp"

#include <algorithm>
#include <cmath>

#include "measure/kernels.hpp"

namespace railtap::measure::ladder_parts {

// The whole frames between two samples.
Frames frames_between(const Context& context, double first, double end) {
  const auto length = static_cast<double>(context.track.frame_length);
  const auto limit = static_cast<double>(context.power.size());
  return {static_cast<std::size_t>(std::clamp(std::ceil(first / length), 0.0, limit)),
          static_cast<std::size_t>(std::clamp(std::floor(end / length), 0.0, limit))};
}

// Median, so that a click or a knock does not count; none where no frame lies between.
std::optional<double> level_between(const Context& context, double first, double end) {
  const Frames frames = frames_between(context, first, end);
  if (frames.empty()) return std::nullopt;
  return to_db(median({context.power.begin() + static_cast<std::ptrdiff_t>(frames.first),
                       context.power.begin() + static_cast<std::ptrdiff_t>(frames.end)}));
}

double cut_tolerance(const Context& context) {
  constexpr double cycles = 0.6;  // a slow tone's edge is where its next half cycle would be
  const double slow_s = context.track.tone ? cycles / context.track.tone->value() : 0.0;
  return std::max(context.chain.pace.scatter, std::max(cut_s, slow_s) * context.rate());
}

bool is_whole(const Context& context, double length) {
  return length >= context.dwell() - cut_tolerance(context);
}

// Steps that follow each other without silence have to be told by their times where the level does
// not show them; others are told by the silence.
bool goes_by_time(const Context& context) {
  return context.chain.pace.regular && !context.chain.pace.paused;
}

}  // namespace railtap::measure::ladder_parts
