// SPDX-License-Identifier: MIT
// The player in the head unit, a track as a smooth voltage at any rate that is asked for; and the
// hand that turns a control, with uneven speed and rests in between.
#include "rig/player.hpp"

#include <algorithm>
#include <cmath>

namespace railtap::rig {

// Raises a track's rate by 8 with filters, then to any rate by Lagrange interpolation.

namespace {

constexpr int first_factor = 2;
constexpr int second_factor = 4;
constexpr int raised = first_factor * second_factor;
constexpr std::size_t feed_frames = 256;
constexpr std::size_t points = Lagrange::points;
constexpr std::size_t points_before = Lagrange::points_before;

}  // namespace

Player::Player(audio::Source track, double steps_per_frame, Seconds before, Seconds after,
               double skip)
    : track_(std::move(track)),
      lead_frames_(std::llround(before.value() * track_.format.rate.value())),
      tail_frames_(std::llround(after.value() * track_.format.rate.value())),
      step_(raised / steps_per_frame),
      position_(0.0),
      per_frame_(steps_per_frame),
      first_{{first_factor, converter_passband / first_factor},
             {first_factor, converter_passband / first_factor}},
      second_{{second_factor, converter_passband / raised},
              {second_factor, converter_passband / raised}} {
  const double delay = first_[0].delay() * second_factor + second_[0].delay();
  position_ = delay + skip * step_;
  produced_ = skip;
  interleaved_.resize(feed_frames * static_cast<std::size_t>(track_.format.channels));
  for (auto& channel : frames_in_) channel.resize(feed_frames);
  middle_.resize(feed_frames * first_factor);
  // The first outputs need points before the stream's start.
  for (auto& channel : raised_) channel.assign(points_before, 0.0);
  position_ += static_cast<double>(points_before);
}

/// Frames of the track into frames_in_. \returns how many there were
std::size_t Player::take_frames(std::size_t wanted) {
  const auto channels = static_cast<std::size_t>(track_.format.channels);
  std::size_t got = 0;
  while (got < wanted) {
    const auto span = std::span(interleaved_).first((wanted - got) * channels);
    const std::size_t read = track_.read(span);
    if (read == 0) break;
    const std::size_t right = channels > 1 ? 1 : 0;
    for (std::size_t n = 0; n < read; ++n) {
      frames_in_[0][feed_frames - wanted + got + n] = interleaved_[n * channels];
      frames_in_[1][feed_frames - wanted + got + n] = interleaved_[n * channels + right];
    }
    got += read;
  }
  return got;
}

/// Raises the next frames and appends them.
void Player::feed() {
  for (auto& channel : frames_in_) std::fill(channel.begin(), channel.end(), 0.0);
  const auto idle = static_cast<std::size_t>(
      std::clamp<std::int64_t>(lead_frames_ - frames_, 0, static_cast<std::int64_t>(feed_frames)));
  if (!end_ && idle < feed_frames) {
    const std::size_t got = take_frames(feed_frames - idle);
    if (got < feed_frames - idle) {
      end_ = frames_ + static_cast<std::int64_t>(idle + got) + tail_frames_;
    }
  }
  frames_ += static_cast<std::int64_t>(feed_frames);
  for (std::size_t side = 0; side < 2; ++side) {
    first_[side].process(frames_in_[side], middle_);
    const std::size_t old = raised_[side].size();
    raised_[side].resize(old + feed_frames * raised);
    second_[side].process(middle_, std::span(raised_[side]).subspan(old));
  }
}

std::size_t Player::read(std::vector<double>& left, std::vector<double>& right) {
  for (std::size_t n = 0; n < left.size(); ++n) {
    const auto whole = static_cast<std::size_t>(position_);
    while (whole + points > raised_[0].size()) feed();
    const auto pair =
        lagrange_.at(&raised_[0][whole - points_before], &raised_[1][whole - points_before],
                     position_ - static_cast<double>(whole));
    left[n] = pair.left;
    right[n] = pair.right;
    position_ += step_;
  }
  // Drop what no later output needs.
  const auto done = static_cast<std::size_t>(position_) - points_before;
  const std::size_t drop = std::min(done, raised_[0].size());
  for (auto& channel : raised_) {
    channel.erase(channel.begin(), channel.begin() + static_cast<std::ptrdiff_t>(drop));
  }
  position_ -= static_cast<double>(drop);
  const double before = produced_;
  produced_ += static_cast<double>(left.size());
  if (!end_) return left.size();
  const double last = static_cast<double>(*end_) * per_frame_;
  return static_cast<std::size_t>(
      std::clamp(std::ceil(last - before), 0.0, static_cast<double>(left.size())));
}

// A hand on a control.

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
