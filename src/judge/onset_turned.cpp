// SPDX-License-Identifier: MIT
// What is special about steps of a level that a hand turns.
#include "judge/onset_turned.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace railtap::judge {
namespace {

using measure::MeasuredStep;

double level_of(const MeasuredStep& step) {
  return criteria::level_db(step.block.fundamental + step.block.harmonics);
}

std::optional<Way> own_way(const measure::Step& step) {
  if (!step.gliding || std::abs(step.rise_db) < least_move_db) return std::nullopt;
  return step.rise_db > 0.0 ? Way::up : Way::down;
}

}  // namespace

std::vector<Way> ways_of(const std::vector<MeasuredStep>& steps) {
  std::vector<Way> ways;
  std::optional<Way> way;
  std::optional<double> reached;  // the last level that differed
  bool known = false;
  for (const MeasuredStep& step : steps) {
    if (step.block.tone) {
      const double level = level_of(step);
      const double moved = reached ? level - *reached : 0.0;
      if (std::abs(moved) >= least_move_db) way = moved > 0.0 ? Way::up : Way::down;
      if (const auto own = own_way(step.step)) way = own;
      if (!reached || std::abs(moved) >= least_move_db) reached = level;
    }
    if (way && !known) {
      ways.assign(ways.size(), *way);  // the first ones are left that way
      known = true;
    }
    ways.push_back(way.value_or(Way::up));
  }
  return ways;
}

namespace criteria {
namespace {

// Far enough over its rail that a corner can be told from a knee.
bool is_over(const Point& point) {
  constexpr double least_over_db = 0.2;
  if (point.clip == nullptr || !point.clip->explained) return false;
  return std::max(point.clip->positive.overdrive, point.clip->negative.overdrive).value() >=
         least_over_db;
}

bool bends(const Point& point) {
  return (is_knee(point) || is_corner(point)) && is_over(point);
}

}  // namespace

double widest_corner_db(const Point& point) {
  constexpr double standing_db = 0.05;
  constexpr double moving_share = 0.25;  // of the movement (trials)
  constexpr double most_moved_db = 1.2;
  return standing_db + moving_share * std::min(point.moved_db, most_moved_db);
}

void settle_noise(std::vector<Point>& points) {
  constexpr std::size_t softer = 3;
  for (std::size_t i = 0; i < points.size(); ++i) {
    if (points[i].moved_db == 0.0) continue;
    for (std::size_t k = i > softer ? i - softer : 0; k < i; ++k) {
      points[i].noise = std::min(points[i].noise, points[k].noise);
    }
  }
}

void settle_corners(std::vector<Point>& points) {
  constexpr std::size_t lowest = 6;
  std::vector<double> widths;  // re the widest that a corner may have
  for (const Point& p : points) {
    if (widths.size() < lowest && bends(p)) {
      widths.push_back(is_corner(p) ? 0.0 : width_db(*p.clip) / widest_corner_db(p));
    }
  }
  if (widths.empty()) return;
  const auto middle = widths.begin() + static_cast<std::ptrdiff_t>(widths.size() / 2);
  std::nth_element(widths.begin(), middle, widths.end());
  for (Point& p : points) {
    p.rounded_corner = p.moved_db > 0.0 && *middle <= 1.0 && (is_knee(p) || is_over(p));
  }
}

namespace {

struct Range {
  double low = 0.0, high = 0.0;
  int values = 0;

  void add(double value) {
    low = values == 0 ? value : std::min(low, value);
    high = values == 0 ? value : std::max(high, value);
    ++values;
  }
  [[nodiscard]] double width() const { return high - low; }
};

}  // namespace

std::optional<double> moved_behind(const std::vector<Point>& points) {
  constexpr int least_points = 4;
  constexpr double least_moved_db = 2.0;
  // In front of the stage the overdrive moves by more than the level does, since a rail holds it.
  constexpr double steady_share = 0.1;
  Range level, over;
  for (const Point& p : points) {
    if (!is_over(p)) return std::nullopt;
    level.add(p.level);
    over.add(std::max(p.clip->positive.overdrive, p.clip->negative.overdrive).value());
  }
  const bool moved = level.values >= least_points && level.width() >= least_moved_db;
  if (!moved || over.width() > steady_share * level.width()) return std::nullopt;
  return level.width();
}

}  // namespace criteria

}  // namespace railtap::judge
