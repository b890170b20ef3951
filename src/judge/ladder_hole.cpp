// SPDX-License-Identifier: MIT
// Steps cut out of a ladder among steps that a rail holds, found by how the distortion grows.
#include "judge/ladder_hole.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>

namespace railtap::judge {
namespace {

using measure::AlignedLadder;
using measure::MeasuredStep;
using measure::Numbering;

std::optional<double> overdrive_of(const MeasuredStep& step) {
  constexpr double least_db = 1.0;
  if (!step.clip || !step.clip->explained) return std::nullopt;
  const double over =
      std::max(step.clip->positive.overdrive, step.clip->negative.overdrive).value();
  return over >= least_db ? std::optional(over) : std::nullopt;
}

// How many steps are missing between each step and the one before; none where it cannot be told.
std::vector<std::optional<int>> gaps_of(const std::vector<MeasuredStep>& steps, double rise_db) {
  constexpr double off = 0.2;  // of the rise
  std::vector<std::optional<int>> gaps(steps.size());
  for (std::size_t i = 1; i < steps.size(); ++i) {
    const auto before = overdrive_of(steps[i - 1]);
    const auto here = overdrive_of(steps[i]);
    if (!before || !here) continue;
    const double rises = (*here - *before) / rise_db;
    const int extra =
        static_cast<int>(std::lround(rises)) - (steps[i].step.index - steps[i - 1].step.index);
    if (extra >= 0 && std::abs(rises - std::round(rises)) <= off) gaps[i] = extra;
  }
  return gaps;
}

// The steps from `place` on move away from those before it. Of a ladder that is numbered from its
// end those before it move.
void open_gap(std::vector<MeasuredStep>& steps, AlignedLadder& ladder, std::size_t place, int extra,
              int planned) {
  const int at = steps[place].step.index;
  const bool from_end = ladder.numbering == Numbering::end;
  const auto moved = [&](int index) {
    if (from_end) return index < at ? index - extra : index;
    return index >= at ? index + extra : index;
  };
  for (MeasuredStep& step : steps) step.step.index = moved(step.step.index);
  for (measure::Step& step : ladder.steps) step.index = moved(step.index);
  for (measure::MissingStep& step : ladder.missing) step.index = moved(step.index);
  std::erase_if(ladder.missing, [&](const auto& step) {
    return step.index < 0 || (planned > 0 && step.index >= planned);
  });
  for (int k = 0; k < extra; ++k) {
    const int index = (from_end ? at - extra : at) + k;
    ladder.missing.push_back({index, measure::Absence::skipped});
    ladder.by_distortion.push_back(index);
  }
  if (ladder.muted) ladder.muted->after_index = moved(ladder.muted->after_index);
  ladder.grid = std::nullopt;
}

bool has_room(const std::vector<MeasuredStep>& steps, const AlignedLadder& ladder, int extra,
              int planned) {
  if (ladder.numbering == Numbering::end) return steps.front().step.index >= extra;
  return planned == 0 || steps.back().step.index + extra < planned;
}

}  // namespace

void place_by_distortion(std::vector<MeasuredStep>& steps, AlignedLadder& ladder, int planned) {
  constexpr int least_followed = 2;
  if (steps.empty() || ladder.rise_db == 0.0) return;
  const auto gaps = gaps_of(steps, ladder.rise_db);
  const auto followed = std::count(gaps.begin(), gaps.end(), std::optional(0));
  if (followed < least_followed) return;
  for (std::size_t i = 1; i < steps.size(); ++i) {
    const int extra = gaps[i].value_or(0);
    if (extra > 0 && has_room(steps, ladder, extra, planned)) {
      open_gap(steps, ladder, i, extra, planned);
    }
  }
  // The silence behind the last step is the ladder's end after all.
  if (!ladder.by_distortion.empty() && ladder.muted && !ladder.muted->amid_step &&
      ladder.muted->after_index + 1 == planned) {
    ladder.muted = std::nullopt;
  }
  std::sort(ladder.missing.begin(), ladder.missing.end(),
            [](const auto& a, const auto& b) { return a.index < b.index; });
}

}  // namespace railtap::judge
