// SPDX-License-Identifier: MIT
// Amplitude and phase of a tone, slice by slice.
#include "measure/tone_track.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

using std::numbers::pi;
using Complex = std::complex<double>;

constexpr double least_cycles = 2.0;
// Blocks are of one second at most and rates of 8 kHz at least: slices of 4 ms or more are some
// hundred of a block.
constexpr double slices_per_block = 250.0;
// A break moves the amplitude by 2 % or the phase by 0.05 radians from one slice to the next but
// one; noise is given six of its own standard deviations.
constexpr double least_amplitude_step = 0.02;
constexpr double least_phase_step = 0.05;
constexpr double sigmas = 6.0;
constexpr double sigma_of_median = 1.4826;  // of the absolute deviation, for a normal distribution

double spread(const std::vector<double>& values, double middle) {
  std::vector<double> deviations;
  deviations.reserve(values.size());
  for (const double value : values) deviations.push_back(std::abs(value - middle));
  return sigma_of_median * median(std::move(deviations));
}

}  // namespace

void ToneTrack::follow(std::span<const double> samples, double cycles_per_sample) {
  samples_ = samples.size();
  const double shortest = static_cast<double>(samples_) / slices_per_block;
  const double cycles = std::max(least_cycles, std::ceil(shortest * cycles_per_sample));
  length_ = static_cast<std::size_t>(std::lround(cycles / cycles_per_sample));
  hop_ = std::max<std::size_t>(1, length_ / 2);
  slice_.clear();
  if (length_ == 0 || length_ > samples_) return;
  re_.resize(length_);
  im_.resize(length_);
  for (std::size_t n = 0; n < length_; ++n) {
    const double place = (static_cast<double>(n) + 0.5) / static_cast<double>(length_);
    const double weight = (1.0 - std::cos(2.0 * pi * place)) * 2.0 / static_cast<double>(length_);
    const double angle = 2.0 * pi * cycles_per_sample * static_cast<double>(n);
    re_[n] = weight * std::cos(angle);
    im_[n] = -weight * std::sin(angle);
  }
  for (std::size_t first = 0; first + length_ <= samples_; first += hop_) {
    const Correlation c = correlate(samples.data() + first, re_.data(), im_.data(), length_);
    const double turns = cycles_per_sample * static_cast<double>(first);
    slice_.push_back(Complex(c.re, c.im) *
                     std::polar(1.0, -2.0 * pi * (turns - std::floor(turns))));
  }
}

Modulation ToneTrack::modulation() const {
  Modulation result;
  if (slice_.empty()) return result;
  const auto count = static_cast<double>(slice_.size());
  Complex mean = 0.0;
  for (const Complex& s : slice_) mean += s / count;
  if (!(std::abs(mean) > 0.0)) return result;
  for (const Complex& s : slice_) {
    const Complex off = s / mean - 1.0;
    result.amplitude += off.real() * off.real() / count;
    result.phase += off.imag() * off.imag() / count;
  }
  return result;
}

// Slices at a break: where the amplitude is not the usual one, or the phase turns by more than it
// usually does.
std::vector<char> ToneTrack::uneven() const {
  std::vector<double> sizes, turns;
  for (std::size_t i = 0; i < slice_.size(); ++i) {
    sizes.push_back(std::abs(slice_[i]));
    if (i >= 2) turns.push_back(std::arg(slice_[i] * std::conj(slice_[i - 2])));
  }
  if (turns.empty()) return std::vector<char>(slice_.size(), 0);
  const double size = median(sizes);
  const double turn = median(turns);
  const double size_limit = std::max(least_amplitude_step * size, sigmas * spread(sizes, size));
  const double turn_limit = std::max(least_phase_step, sigmas * spread(turns, turn));
  std::vector<char> marks(slice_.size(), 0);
  for (std::size_t i = 0; i < slice_.size(); ++i) {
    if (std::abs(sizes[i] - size) > size_limit) marks[i] = 1;
    if (i < 2 || std::abs(std::remainder(turns[i - 2] - turn, 2.0 * pi)) <= turn_limit) continue;
    marks[i - 1] = 1;  // the break lies between the two
  }
  return marks;
}

// Each break is judged by the slices around it, two away from it; the phase that a wrong frequency
// makes in between is taken off.
bool ToneTrack::has_phase_step() const {
  constexpr std::size_t away = 2;
  const std::vector<char> marks = uneven();
  std::vector<double> turns;
  for (std::size_t i = 1; i < slice_.size(); ++i)
    turns.push_back(std::arg(slice_[i] * std::conj(slice_[i - 1])));
  if (turns.empty()) return false;
  const double turn = median(turns);
  for (std::size_t i = 0; i < marks.size();) {
    if (marks[i] == 0) {
      ++i;
      continue;
    }
    std::size_t end = i;
    while (end < marks.size() && marks[end] != 0) ++end;
    if (i >= away && end + away <= marks.size()) {
      const std::size_t before = i - away;
      const std::size_t after = end + away - 1;
      const double moved = std::arg(slice_[after] * std::conj(slice_[before])) -
                           turn * static_cast<double>(after - before);
      if (std::abs(std::remainder(moved, 2.0 * pi)) > 2.0 * least_phase_step) return true;
    }
    i = end;
  }
  return false;
}

SampleRange ToneTrack::longest_even(std::vector<std::size_t>& breaks) const {
  breaks.clear();
  const std::vector<char> marks = uneven();
  if (std::find(marks.begin(), marks.end(), 1) == marks.end()) return {0, samples_};
  SampleRange best;
  std::size_t first = 0;  // slice
  const auto end_run = [&](std::size_t end) {
    // The slices next to a break may hold a little of it.
    const std::size_t from_slice = first > 0 ? first + 1 : 0;
    const std::size_t end_slice = end < marks.size() ? end - std::min<std::size_t>(end, 1) : end;
    if (end_slice <= from_slice) return;
    const std::size_t from = from_slice * hop_;
    const std::size_t length = (end_slice - 1) * hop_ + length_ - from;
    if (length > best.length) best = {from, length};
  };
  for (std::size_t i = 0; i < marks.size(); ++i) {
    if (marks[i] == 0) continue;
    end_run(i);
    if (i == 0 || marks[i - 1] == 0) breaks.push_back(i * hop_ + length_ / 2);
    first = i + 1;
  }
  end_run(marks.size());
  return best;
}

}  // namespace railtap::measure
