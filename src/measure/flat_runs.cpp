// SPDX-License-Identifier: MIT
// Runs of samples at exactly the highest or lowest value.
#include "measure/flat_runs.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

constexpr std::int64_t shortest_counted_run = 3;

/// Counts one sample for one side; `beyond` is whether it is a new extreme, `at` whether it is at
/// it.
void count(FlatSide& side, std::int64_t& run, double sample, bool beyond, bool at) {
  if (beyond) {
    side = {sample, 1, 1, 0};
    run = 1;
    return;
  }
  run = at ? run + 1 : 0;
  if (!at) return;
  ++side.samples;
  side.longest = std::max(side.longest, run);
  if (run == shortest_counted_run) ++side.runs;
}

// Whether any sample is at the extremes seen so far or beyond; NaN is not.
RAILTAP_VECTORIZE bool touches(const double* x, std::size_t count, double low, double high) {
  double lowest = high;
  double highest = low;
#pragma omp simd reduction(min : lowest) reduction(max : highest)
  for (std::size_t n = 0; n < count; ++n) {
    lowest = x[n] < lowest ? x[n] : lowest;
    highest = x[n] > highest ? x[n] : highest;
  }
  return lowest <= low || highest >= high;
}

constexpr std::size_t part_length = 128;  // long enough to be vectorised, short enough to skip most

}  // namespace

void FlatRuns::look(double sample) {
  if (!std::isfinite(sample)) {
    run_high_ = run_low_ = 0;
    return;
  }
  const bool first = high_.samples == 0;
  count(high_, run_high_, sample, first || sample > high_.value, sample == high_.value);
  count(low_, run_low_, sample, first || sample < low_.value, sample == low_.value);
}

void FlatRuns::add(std::span<const double> samples, const FrameFigures& figures) {
  total_ += static_cast<std::int64_t>(samples.size());
  const bool inside = high_.samples > 0 && figures.non_finite == 0 &&
                      figures.highest < high_.value && figures.lowest > low_.value;
  if (inside) {
    run_high_ = run_low_ = 0;
    return;
  }
  for (std::size_t first = 0; first < samples.size(); first += part_length) {
    const auto part = samples.subspan(first, std::min(part_length, samples.size() - first));
    const bool quiet = high_.samples > 0 && figures.non_finite == 0 &&
                       !touches(part.data(), part.size(), low_.value, high_.value);
    if (quiet) {
      run_high_ = run_low_ = 0;
    } else {
      for (const double sample : part) look(sample);
    }
  }
}

std::int64_t FlatRuns::longest() const {
  return std::max(high_.longest, low_.longest);
}

Percent FlatRuns::share() const {
  if (total_ == 0) return Percent(0.0);
  return Percent(100.0 * static_cast<double>(samples()) / static_cast<double>(total_));
}

std::int64_t longest_innocent_run(double code_step, double peak, Hertz frequency, Hertz rate) {
  const double angle = std::acos(std::max(-1.0, 1.0 - 1.5 * code_step / peak));
  const double samples = angle / (std::numbers::pi * frequency.value()) * rate.value();
  return static_cast<std::int64_t>(std::ceil(samples)) + 1;
}

bool noise_would_show(double noise_rms, double code_step, std::int64_t run) {
  // The best case for the plateau is the middle of a code, where a sample leaves it with the chance
  // of |noise| > step/2.
  constexpr double unlikely = 1e-3;
  if (noise_rms <= 0.0) return false;
  const double stays = std::erf(code_step / (2.0 * std::numbers::sqrt2 * noise_rms));
  return std::pow(stays, static_cast<double>(run)) < unlikely;
}

}  // namespace railtap::measure
