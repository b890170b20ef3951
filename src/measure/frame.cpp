// SPDX-License-Identifier: MIT
// Cheap figures of a run of samples: what every sample of a recording is looked at for, and how
// fine its numbers are.
#include "measure/frame.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <complex>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::measure {

// Cheap figures of a run of samples.

namespace {

using std::numbers::pi;

constexpr std::size_t chunk_length = 1024;
// Cycles that rounding may take from a window of whole ones.
constexpr double whole_cycles = 1e-6;

struct Sums {
  double sum, squares, lowest, highest;
};

RAILTAP_VECTORIZE Sums sums(const double* x, std::size_t count) {
  double sum = 0.0;
  double squares = 0.0;
  double lowest = x[0];
  double highest = x[0];
#pragma omp simd reduction(+ : sum, squares) reduction(min : lowest) reduction(max : highest)
  for (std::size_t n = 0; n < count; ++n) {
    sum += x[n];
    squares += x[n] * x[n];
    lowest = x[n] < lowest ? x[n] : lowest;
    highest = x[n] > highest ? x[n] : highest;
  }
  return {sum, squares, lowest, highest};
}

struct WeightedSums {
  Sums plain;
  double mean, square;
};

// The same sums and the weighted ones, so that each sample is fetched once.
RAILTAP_VECTORIZE WeightedSums weighted_sums(const double* x, const double* w, std::size_t count) {
  double sum = 0.0;
  double squares = 0.0;
  double lowest = x[0];
  double highest = x[0];
  double mean = 0.0;
  double square = 0.0;
#pragma omp simd reduction(+ : sum, squares, mean, square) reduction(min : lowest) \
    reduction(max : highest)
  for (std::size_t n = 0; n < count; ++n) {
    const double weighted = w[n] * x[n];
    sum += x[n];
    squares += x[n] * x[n];
    mean += weighted;
    square += weighted * x[n];
    lowest = x[n] < lowest ? x[n] : lowest;
    highest = x[n] > highest ? x[n] : highest;
  }
  return {{sum, squares, lowest, highest}, mean, square};
}

FrameFigures to_figures(const Sums& s, std::span<const double> samples) {
  FrameFigures result;
  result.frames = static_cast<std::int64_t>(samples.size());
  // A NaN or an infinity anywhere makes the sum of squares non-finite; only then is each sample
  // looked at.
  if (!std::isfinite(s.squares)) {
    result.non_finite =
        std::count_if(samples.begin(), samples.end(), [](double x) { return !std::isfinite(x); });
  }
  result.sum = s.sum;
  result.sum_of_squares = s.squares;
  result.lowest = s.lowest;
  result.highest = s.highest;
  return result;
}

}  // namespace

void FrameFigures::merge(const FrameFigures& other) {
  if (other.frames == 0) return;
  lowest = frames == 0 ? other.lowest : std::min(lowest, other.lowest);
  highest = frames == 0 ? other.highest : std::max(highest, other.highest);
  frames += other.frames;
  non_finite += other.non_finite;
  sum += other.sum;
  sum_of_squares += other.sum_of_squares;
}

double FrameFigures::mean_square_ac() const {
  if (frames == 0) return 0.0;
  const auto count = static_cast<double>(frames);
  const double mean = sum / count;
  return std::max(0.0, sum_of_squares / count - mean * mean);
}

FrameFigures figures(std::span<const double> samples) {
  if (samples.empty()) return {};
  return to_figures(sums(samples.data(), samples.size()), samples);
}

FrameLevel::FrameLevel(std::size_t length) : weight_(length) {
  for (std::size_t n = 0; n < length; ++n) {
    const double angle = 2.0 * pi * (static_cast<double>(n) + 0.5) / static_cast<double>(length);
    weight_[n] = (1.0 - std::cos(angle)) / static_cast<double>(length);
  }
}

WeightedFigures FrameLevel::figures(std::span<const double> samples) const {
  const WeightedSums w = weighted_sums(samples.data(), weight_.data(), samples.size());
  return {to_figures(w.plain, samples), std::max(0.0, w.square - w.mean * w.mean)};
}

void FullScaleRuns::add(std::span<const double> block, const FrameFigures& figures) {
  if (figures.highest < positive_limit && figures.lowest > negative_limit &&
      figures.non_finite == 0) {
    run_ = 0;
    return;
  }
  for (const double x : block) {
    int side = x >= positive_limit ? 1 : x <= negative_limit ? -1 : 0;
    if (exact && x != positive_limit && x != negative_limit) side = 0;
    run_ = side == 0 ? 0 : side == side_ ? run_ + 1 : 1;
    side_ = side;
    samples += side != 0 ? 1 : 0;
    longest = std::max(longest, run_);
  }
}

void ToneScreener::tune(double cycles_per_sample) {
  cycles_per_sample_ = cycles_per_sample;
  re_.resize(chunk_length);
  im_.resize(chunk_length);
  for (std::size_t n = 0; n < chunk_length; ++n) {
    const double angle = 2.0 * pi * cycles_per_sample * static_cast<double>(n);
    re_[n] = std::cos(angle);
    im_[n] = -std::sin(angle);
  }
}

std::complex<double> ToneScreener::project(std::span<const double> samples) const {
  std::complex<double> projection = 0.0;
  for (std::size_t first = 0; first < samples.size(); first += chunk_length) {
    const std::size_t count = std::min(chunk_length, samples.size() - first);
    const Correlation p = correlate(samples.data() + first, re_.data(), im_.data(), count);
    const double cycles = cycles_per_sample_ * static_cast<double>(first);
    projection +=
        std::complex(p.re, p.im) * std::polar(1.0, -2.0 * pi * (cycles - std::floor(cycles)));
  }
  return projection;
}

ToneScreen ToneScreener::screen(std::span<const double> samples,
                                const FrameFigures& figures) const {
  const std::complex<double> projection = project(samples);
  const auto count = static_cast<double>(samples.size());
  ToneScreen result;
  result.fundamental = 2.0 * std::norm(projection) / (count * count);
  result.residual = std::max(0.0, figures.mean_square_ac() - result.fundamental);
  result.lowest = figures.lowest;
  result.highest = figures.highest;
  return result;
}

bool ToneScreener::steps_in_phase(std::span<const double> samples, std::size_t border,
                                  Hertz rate) const {
  constexpr double long_window_s = 0.05;   // a cycle of 20 Hz
  constexpr double short_window_s = 0.01;  // a cycle of 100 Hz
  // What wavers turns by less the shorter the windows, a step by the same. Below 100 Hz the short
  // windows would be less than a cycle.
  return steps_in_phase(samples, border, long_window_s * rate.value()) &&
         (cycles_per_sample_ * rate.value() * short_window_s < 1.0 - whole_cycles ||
          steps_in_phase(samples, border, short_window_s * rate.value()));
}

bool ToneScreener::steps_in_phase(std::span<const double> samples, std::size_t border,
                                  double window) const {
  constexpr double least_step =
      0.1;  // radians, as in ToneTrack: from it on, a break is one in phase
  const double cycles = std::floor(window * cycles_per_sample_ + whole_cycles);
  if (cycles < 1.0) return false;
  const auto length = static_cast<std::size_t>(std::lround(cycles / cycles_per_sample_));
  if (border < 2 * length || border + 2 * length > samples.size()) return false;
  // By how much the phase of the window at `from` is ahead of that of the one before it.
  const auto turn = [&](std::size_t from) {
    const auto before = project(samples.subspan(from - length, length));
    return std::arg(project(samples.subspan(from, length)) * std::conj(before));
  };
  // The turns beside it are small, their mean is safe; doubled instead, half a cycle would be none.
  const double beside = 0.5 * (turn(border - length) + turn(border + length));
  return std::abs(std::remainder(turn(border) - beside, 2.0 * pi)) > least_step;
}

// How fine the numbers of a recording really are.

namespace {

constexpr int grid_bits = 32;
constexpr int finest_bits = 24;
constexpr double largest = 1024.0;  // full scales: beyond, the units do not fit

// A double of this size has units of 2^−32 [IEEE 754-2019, 3.4: 52 bits behind the point]: with a
// sample added, its lowest bits are the sample in those units, in two's complement, and it minus
// this is the sample again only where the sample is a whole number of them.
constexpr double on_grid = 1.5 * static_cast<double>(std::uint64_t{1} << (52 - grid_bits));
constexpr std::uint64_t unit_bits = (std::uint64_t{1} << 51) - 1;

struct Codes {
  std::uint64_t bits;  // of all samples, with those above the units
  double off;          // 1 where a sample is off the grid
};

// Numbers that are none are off the grid: no comparison with them holds.
RAILTAP_VECTORIZE Codes codes(const double* x, std::size_t count) {
  std::uint64_t bits = 0;
  double off = 0.0;
#pragma omp simd reduction(| : bits) reduction(max : off)
  for (std::size_t n = 0; n < count; ++n) {
    const double moved = x[n] + on_grid;
    const double apart = std::abs((moved - on_grid) - x[n]);
    const double here = apart == 0.0 && std::abs(x[n]) < largest ? 0.0 : 1.0;
    bits |= std::bit_cast<std::uint64_t>(moved);
    off = off > here ? off : here;
  }
  return {bits, off};
}

}  // namespace

void CodeStep::add(std::span<const double> samples) {
  if (off_grid_) return;
  const Codes found = codes(samples.data(), samples.size());
  off_grid_ = found.off != 0.0;
  bits_ |= found.bits & unit_bits;
}

std::optional<double> CodeStep::step() const {
  if (off_grid_ || bits_ == 0) return std::nullopt;
  const int bits = grid_bits - std::countr_zero(bits_);
  if (bits > finest_bits) return std::nullopt;
  return std::ldexp(1.0, -bits);
}

}  // namespace railtap::measure
