// SPDX-License-Identifier: MIT
// Where on the way up the recording input comes to its own limit.
#include <algorithm>
#include <cmath>

#include "judge/onset_criteria.hpp"

namespace railtap::judge::criteria {
namespace {

bool is_overloaded(const Point& point) {
  return point.verdict == Verdict::input_overload;
}

// In the middle of the range in which it lies; evenly distributed, so a standard deviation is the
// range over √12 (JCGM 100:2008, 4.3.7).
Estimate between(const Point& low, const Point& high) {
  Estimate estimate;
  estimate.level = 0.5 * (low.level + high.level);
  if (low.input && high.input) estimate.input = 0.5 * (*low.input + *high.input);
  estimate.sigma = (high.level - low.level) / std::sqrt(12.0);
  return estimate;
}

}  // namespace

std::optional<Estimate> input_onset(const std::vector<Point>& points) {
  constexpr double close_db = 0.1;
  const auto first = std::find_if(points.begin(), points.end(), is_overloaded);
  if (first == points.end()) return std::nullopt;
  const auto flat_before = std::find_if(points.begin(), first, [](const Point& p) {
    return p.clip != nullptr && (p.clip->positive.flat || p.clip->negative.flat);
  });
  // What clips before it would be taken for it.
  if (flat_before == first) {
    const auto estimate = flat_top_onset(points);
    const bool above =
        estimate && (first == points.begin() || estimate->level > (first - 1)->level - close_db);
    if (above && estimate->level < first->level + close_db) return estimate;
  }
  if (first == points.begin()) return std::nullopt;
  return between(*(first - 1), *first);
}

}  // namespace railtap::judge::criteria
