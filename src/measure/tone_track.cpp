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
// The slices by which a step in phase is told lie this far from the break.
constexpr std::size_t steps_away = 2;
constexpr double sigma_of_median = 1.4826;  // of the absolute deviation, for a normal distribution

double spread(const std::vector<double>& values, double middle) {
  std::vector<double> deviations;
  deviations.reserve(values.size());
  for (const double value : values) deviations.push_back(std::abs(value - middle));
  return sigma_of_median * median(std::move(deviations));
}

// Ends of a run of marked slices with the runs so near to it that the slices beside it are
// disturbed too.
std::size_t end_of_cluster(const std::vector<char>& marks, std::size_t end) {
  for (std::size_t i = end; i < std::min(end + steps_away, marks.size()); ++i)
    if (marks[i] != 0) end = i + 1;
  return end;
}

std::size_t start_of_cluster(const std::vector<char>& marks, std::size_t first) {
  for (std::size_t i = first; i > 0 && i + steps_away > first; --i)
    if (marks[i - 1] != 0) first = i - 1;
  return first;
}

}  // namespace

void ToneTrack::follow(std::span<const double> samples, double cycles_per_sample,
                       SampleRange block) {
  block_ = block;
  const double shortest = static_cast<double>(block.length) / slices_per_block;
  const double cycles = std::max(least_cycles, std::ceil(shortest * cycles_per_sample));
  length_ = static_cast<std::size_t>(std::lround(cycles / cycles_per_sample));
  hop_ = std::max<std::size_t>(1, length_ / 2);
  slice_.clear();
  if (length_ == 0 || length_ > samples.size()) return;
  re_.resize(length_);
  im_.resize(length_);
  for (std::size_t n = 0; n < length_; ++n) {
    const double place = (static_cast<double>(n) + 0.5) / static_cast<double>(length_);
    const double weight = (1.0 - std::cos(2.0 * pi * place)) * 2.0 / static_cast<double>(length_);
    const double angle = 2.0 * pi * cycles_per_sample * static_cast<double>(n);
    re_[n] = weight * std::cos(angle);
    im_[n] = -weight * std::sin(angle);
  }
  for (std::size_t first = 0; first + length_ <= samples.size(); first += hop_) {
    const Correlation c = correlate(samples.data() + first, re_.data(), im_.data(), length_);
    const double turns = cycles_per_sample * static_cast<double>(first);
    slice_.push_back(Complex(c.re, c.im) *
                     std::polar(1.0, -2.0 * pi * (turns - std::floor(turns))));
  }
}

Modulation ToneTrack::modulation() const {
  Modulation result;
  const std::size_t first = hop_ > 0 ? (block_.first + hop_ - 1) / hop_ : 0;
  std::size_t end = slice_.size();
  while (end > first && (end - 1) * hop_ + length_ > block_.first + block_.length) --end;
  if (end <= first) return result;
  const auto within = std::span(slice_).subspan(first, end - first);
  const auto count = static_cast<double>(within.size());
  Complex mean = 0.0;
  for (const Complex& s : within) mean += s / count;
  if (!(std::abs(mean) > 0.0)) return result;
  for (const Complex& s : within) {
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

double ToneTrack::usual_turn() const {
  std::vector<double> turns;
  for (std::size_t i = 1; i < slice_.size(); ++i)
    turns.push_back(std::arg(slice_[i] * std::conj(slice_[i - 1])));
  return turns.empty() ? 0.0 : median(turns);
}

// Judged by the slices around it, two away from it; the phase that a wrong frequency makes in
// between is taken off.
bool ToneTrack::steps_in_phase(Run run, double turn) const {
  constexpr std::size_t away = steps_away;
  if (run.first < away || run.end + away > slice_.size()) return false;
  const std::size_t before = run.first - away;
  const std::size_t after = run.end + away - 1;
  const double moved = std::arg(slice_[after] * std::conj(slice_[before])) -
                       turn * static_cast<double>(after - before);
  return std::abs(std::remainder(moved, 2.0 * pi)) > 2.0 * least_phase_step;
}

// What of the samples from `first` to before `end` lies in the block.
SampleRange ToneTrack::in_block(std::size_t first, std::size_t end) const {
  const std::size_t from = std::max(first, block_.first);
  const std::size_t to = std::min(end, block_.first + block_.length);
  return {from, to > from ? to - from : 0};
}

SampleRange ToneTrack::longest_even(std::vector<ToneBreak>& breaks) const {
  breaks.clear();
  const std::vector<char> marks = uneven();
  if (std::find(marks.begin(), marks.end(), 1) == marks.end()) return block_;
  const double turn = usual_turn();
  SampleRange best;
  std::size_t even_from = 0;  // sample
  const auto end_stretch = [&](std::size_t end) {
    const SampleRange stretch = in_block(even_from, end);
    if (stretch.length > best.length) best = stretch;
  };
  for (std::size_t i = 0; i < marks.size();) {
    if (marks[i] == 0) {
      ++i;
      continue;
    }
    Run run{i, i};
    while (run.end < marks.size() && marks[run.end] != 0) ++run.end;
    // The slices next to a break may hold a little of it.
    if (run.first >= 2) end_stretch((run.first - 2) * hop_ + length_);
    even_from = (run.end + 1) * hop_;
    const std::size_t end = (run.end - 1) * hop_ + length_;
    // What breaks lies in the middle of these slices, not in the first or the last half of one.
    if (in_block((run.first + 1) * hop_, std::max(end, hop_) - hop_).length > 0) {
      const std::size_t at = run.first * hop_ + length_ / 2;
      const std::size_t last = block_.first + block_.length - 1;
      breaks.push_back(
          {std::clamp(at, block_.first, last),
           {run.first * hop_, end - run.first * hop_},
           steps_in_phase({start_of_cluster(marks, run.first), end_of_cluster(marks, run.end)},
                          turn)});
    }
    i = run.end;
  }
  end_stretch((marks.size() - 1) * hop_ + length_);
  return best;
}

}  // namespace railtap::measure
