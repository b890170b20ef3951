// SPDX-License-Identifier: MIT
// A hand on a control.
#include "rig/hand.hpp"

#include <algorithm>
#include <cmath>

namespace railtap::rig {
namespace {

constexpr double inertia_s = 0.03;  // in which a hand comes to another speed
constexpr double landing_s = 0.05;  // it slows down over the last of the way
constexpr double arrived_db = 1e-3;
constexpr double shortest_speed_s = 0.1, longest_speed_s = 0.4;
constexpr std::size_t grid = 64;  // samples between which the gain goes in a straight line

double factor(double db) {
  return std::pow(10.0, db / 20.0);
}

double between(signal::Random& random, double low, double high) {
  return low + (high - low) * random.uniform();
}

}  // namespace

Hand::Hand(const HandSetting& setting, std::uint64_t seed, Hertz rate, Decibels start)
    : setting_(setting), random_(seed), rate_(rate.value()), at_db_(start.value()) {
  way_left_db_ = setting_.pause_every.value() * between(random_, 0.5, 1.5);
}

void Hand::draw() {
  const double octaves = setting_.unevenness.value() / 100.0 * between(random_, -1.0, 1.0);
  drawn_speed_ = setting_.speed_db_per_s * std::exp2(octaves);
  speed_left_s_ = between(random_, shortest_speed_s, longest_speed_s);
}

void Hand::advance(double seconds, double wanted_db) {
  const double left = wanted_db - at_db_;
  if (std::abs(left) <= arrived_db) {
    at_db_ = wanted_db;
    speed_ = 0.0;
    return;
  }
  if (speed_left_s_ <= 0.0) draw();
  speed_left_s_ -= seconds;
  pause_left_s_ = std::max(0.0, pause_left_s_ - seconds);
  const double fastest = std::min(drawn_speed_, std::abs(left) / landing_s);
  const double aim = pause_left_s_ > 0.0 ? 0.0 : std::copysign(fastest, left);
  speed_ += (aim - speed_) * std::min(1.0, seconds / inertia_s);
  if (std::abs(speed_) * seconds > std::abs(left)) speed_ = left / seconds;
  at_db_ += speed_ * seconds;
  if (setting_.pause_every.value() <= 0.0) return;
  way_left_db_ -= std::abs(speed_) * seconds;
  if (way_left_db_ > 0.0) return;
  way_left_db_ = setting_.pause_every.value() * between(random_, 0.5, 1.5);
  pause_left_s_ = setting_.pause.value() * between(random_, 0.5, 1.5);
}

void Hand::fill(std::span<double> gains, Decibels wanted) {
  for (std::size_t first = 0; first < gains.size(); first += grid) {
    const std::size_t count = std::min(grid, gains.size() - first);
    const double from = factor(at_db_);
    advance(static_cast<double>(count) / rate_, wanted.value());
    const double step = (factor(at_db_) - from) / static_cast<double>(count);
    for (std::size_t n = 0; n < count; ++n) {
      gains[first + n] = from + step * static_cast<double>(n + 1);
    }
  }
}

}  // namespace railtap::rig
