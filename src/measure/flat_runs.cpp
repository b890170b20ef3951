// SPDX-License-Identifier: MIT
// Flat tops as samples show them: runs at exactly the highest or lowest value, and how many of a
// programme's highest peaks are flat.
#include "measure/flat_runs.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::measure {

// Runs of samples at exactly the highest or lowest value.

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

// Peaks of music and speech: their shape, counted by level.

namespace {

// Corners tried: nothing, and what couplings of amplifiers, taps and sound inputs have (common
// practice). Between two the tilt that is left is within 3 Hz of the right one.
constexpr std::array<double, PeakShapes::couplings> corners_hz = {0.0, 3.0, 6.0, 10.0, 15.0, 20.0};
// Half of the distance d from the top, as a share of the level. The least lets noise of −60 dB of
// the level by; at the most, a cut of 0.5 dB (5.6 %) is still four times as deep.
constexpr std::array<double, PeakShapes::depths> half_depths = {0.0015, 0.003, 0.006, 0.012};
constexpr double inner = 2.0, outer = 10.0;  // times the half depth
constexpr double flat_ratio = 0.8;
// Of the top's length: each flank takes less than this from the inner to the outer distance.
constexpr double longest_flank = 0.25;
// The integrator forgets slowly, so that an offset does not run away; well below all corners.
constexpr double leak_hz = 0.2;
// Lower peaks tell nothing of a rail.
constexpr double lowest_share = 0.35;
constexpr double bin_ratio = 0.005;    // natural logarithm: 0.043 dB
constexpr double control_share = 0.8;  // of the highest: peaks below are the control
constexpr double rail_share = 0.85;    // peaks above may be at the rail
// Prior of the rate at which peaks are flat by nature: one in eight; never taken below 4 %.
constexpr double prior_flat = 1.0, prior_peaks = 8.0, least_rate = 0.04;
constexpr double above_level = 0.03;

constexpr double window_s = 8.3e-3;      // half a cycle of 60 Hz: no flat top of music is longer
constexpr double neighbours_s = 1.7e-4;  // two peaks that are nearer are one
constexpr double shortest_s = 8.3e-5;    // four samples at 48 kHz
constexpr double least_samples = 4.0;

// n·D(k/n‖p) in decades; 0 where k/n is not above p.
double decades(double k, double n, double p) {
  const double q = k / n;
  if (q <= p) return 0.0;
  const double rest = q < 1.0 ? (1.0 - q) * std::log((1.0 - q) / (1.0 - p)) : 0.0;
  return n * (q * std::log(q / p) + rest) / std::numbers::ln10;
}

std::size_t bins_of(double ratio) {
  return static_cast<std::size_t>(std::lround(-std::log(ratio) / bin_ratio));
}

double level_of(std::size_t bin, double highest) {
  return highest * lowest_share * std::exp((static_cast<double>(bin) + 0.5) * bin_ratio);
}

}  // namespace

PeakShapes::PeakShapes(Hertz rate, double lowest, double highest)
    : rate_(rate),
      half_window_(static_cast<std::size_t>(std::lround(window_s * rate.value()))),
      neighbours_(std::max<std::size_t>(
          2, static_cast<std::size_t>(std::lround(neighbours_s * rate.value())))),
      shortest_(std::max(least_samples, shortest_s * rate.value())) {
  for (std::size_t c = 0; c < couplings; ++c)
    omega_[c] = 2.0 * std::numbers::pi * corners_hz[c] / rate.value();
  sides_[0].sign = 1.0;
  sides_[0].highest = std::max(highest, 0.0);
  sides_[1].sign = -1.0;
  sides_[1].highest = std::max(-lowest, 0.0);
  for (Side& side : sides_) {
    side.views.resize(couplings * depths);
    side.last_end.assign(couplings * depths, -1.0);
  }
  next_ = half_window_;
  buffer_.assign(half_window_, 0.0);
  first_in_buffer_ = -static_cast<std::int64_t>(half_window_);
}

void PeakShapes::add(const double* first, std::size_t stride, std::size_t count) {
  for (std::size_t n = 0; n < count; ++n) buffer_.push_back(first[n * stride]);
  take_buffered();
}

void PeakShapes::take_buffered() {
  for (; next_ + half_window_ < buffer_.size(); ++next_) {
    step_couplings(buffer_[next_]);
    for (Side& side : sides_) {
      if (is_peak(side, next_)) look(side, next_);
    }
  }
  const std::size_t past = next_ - half_window_;
  buffer_.erase(buffer_.begin(), buffer_.begin() + static_cast<std::ptrdiff_t>(past));
  first_in_buffer_ += static_cast<std::int64_t>(past);
  next_ = half_window_;
}

void PeakShapes::step_couplings(double sample) {
  const double keep = 1.0 - 2.0 * std::numbers::pi * leak_hz / rate_.value();
  for (std::size_t c = 0; c < couplings; ++c)
    integral_[c] = keep * integral_[c] + omega_[c] * sample;
}

bool PeakShapes::is_peak(const Side& side, std::size_t centre) const {
  const double here = side.sign * buffer_[centre];
  if (here <= lowest_share * side.highest || here <= 0.0) return false;
  for (std::size_t k = 1; k <= neighbours_; ++k) {
    if (side.sign * buffer_[centre - k] >= here || side.sign * buffer_[centre + k] > here)
      return false;
  }
  return true;
}

void PeakShapes::look(Side& side, std::size_t centre) {
  const double peak = side.sign * buffer_[centre];
  if (peak > 0.5 * side.highest) ++side.all;
  for (std::size_t c = 0; c < couplings; ++c) {
    // The trapezoidal rule has half of the sample that is looked at in the integral.
    const double level = peak + side.sign * (integral_[c] - 0.5 * omega_[c] * buffer_[centre]);
    const Reach found = reach(side, centre, omega_[c]);
    for (std::size_t d = 0; d < depths; ++d) enter(side, c * depths + d, centre, found, level);
  }
}

// Sample at a distance from the peak, upright.
double PeakShapes::sample_at(const Side& side, std::size_t centre, std::ptrdiff_t offset) const {
  return side.sign *
         buffer_[static_cast<std::size_t>(static_cast<std::ptrdiff_t>(centre) + offset)];
}

// The highest of x = y + ω·Σy, counted from the peak: a tilted top is highest beside the peak that
// was found.
double PeakShapes::top_of(const Side& side, std::size_t centre, double omega) const {
  constexpr std::ptrdiff_t about_peak = 3;
  double top = sample_at(side, centre, 0), left = 0.0, right = 0.0;
  for (std::ptrdiff_t k = 1; k <= about_peak; ++k) {
    right += omega * sample_at(side, centre, k);
    left -= omega * sample_at(side, centre, 1 - k);
    top = std::max({top, sample_at(side, centre, k) + right, sample_at(side, centre, -k) + left});
  }
  return top;
}

// Follows x to one side until it has fallen below every threshold. Where it rises above the top by
// as much before, the top is none in this view, and has no length.
std::array<double, PeakShapes::falls> PeakShapes::follow(
    const Side& side, std::size_t centre, double omega, std::ptrdiff_t direction, double top,
    const std::array<double, falls>& thresholds) const {
  const auto limit = static_cast<std::ptrdiff_t>(half_window_);
  std::array<double, falls> distances{};
  distances.fill(static_cast<double>(limit));
  std::array<bool, falls> found{};
  std::size_t missing = falls;
  double sum = 0.0, before = sample_at(side, centre, 0), highest = before;
  for (std::ptrdiff_t k = 1; k <= limit && missing > 0; ++k) {
    sum += direction > 0 ? omega * sample_at(side, centre, k)
                         : -omega * sample_at(side, centre, 1 - k);
    const double here = sample_at(side, centre, direction * k) + sum;
    highest = std::max(highest, here);
    for (std::size_t f = 0; f < falls; ++f) {
      if (found[f] || here >= thresholds[f]) continue;
      const double share = (before - thresholds[f]) / (before - here);
      distances[f] = static_cast<double>(k - 1) + std::clamp(share, 0.0, 1.0);
      found[f] = true;
      --missing;
    }
    before = here;
  }
  for (std::size_t d = 0; d < depths; ++d)
    if (highest > 2.0 * top - thresholds[d]) distances[d] = 0.0;
  return distances;
}

PeakShapes::Reach PeakShapes::reach(const Side& side, std::size_t centre, double omega) const {
  const double peak = sample_at(side, centre, 0), top = top_of(side, centre, omega);
  std::array<double, falls> thresholds{};
  for (std::size_t d = 0; d < depths; ++d) {
    thresholds[d] = top - inner * half_depths[d] * peak;
    thresholds[depths + d] = top - outer * half_depths[d] * peak;
  }
  return {follow(side, centre, omega, -1, top, thresholds),
          follow(side, centre, omega, 1, top, thresholds)};
}

void PeakShapes::enter(Side& side, std::size_t view, std::size_t centre, const Reach& reach,
                       double level) {
  const std::size_t d = view % depths;
  const double left = reach.left[d], right = reach.right[d];
  const double place = static_cast<double>(first_in_buffer_ + static_cast<std::int64_t>(centre));
  if (place - left <= side.last_end[view]) return;  // the same top again
  side.last_end[view] = place + right;
  const double length = left + right;
  if (length < shortest_ || level <= lowest_share * side.highest) return;
  const double left_flank = reach.left[depths + d] - left;
  const double right_flank = reach.right[depths + d] - right;
  const bool flat = length > flat_ratio * (length + left_flank + right_flank) &&
                    std::max(left_flank, right_flank) < longest_flank * length;
  const auto bin =
      static_cast<std::size_t>(std::log(level / (lowest_share * side.highest)) / bin_ratio);
  Bin& counted = side.views[view][std::min(bin, bins - 1)];
  ++counted.peaks;
  if (!flat) return;
  ++counted.flat;
  counted.flat_samples += static_cast<float>(length);
  counted.longest = std::max(counted.longest, static_cast<float>(length));
}

FlatPeaks PeakShapes::Side::read(Hertz rate) const {
  FlatPeaks best;
  for (std::size_t view = 0; view < views.size(); ++view) {
    const FlatPeaks found = read_view(view, rate);
    if (found.evidence > best.evidence || (view == 0)) best = found;
  }
  return best;
}

// The bin of the second highest peak, as the highest may be a click; none where there is no second.
std::optional<std::size_t> PeakShapes::top_bin(const Levels& levels) {
  std::int64_t seen = 0;
  for (std::size_t b = bins; b-- > 0;) {
    seen += levels[b].peaks;
    if (seen >= 2) return b;
  }
  return std::nullopt;
}

// How often peaks are flat that are too low for the rail.
double PeakShapes::rate_by_nature(const Levels& levels, std::size_t top) {
  double flat = prior_flat, peaks = prior_peaks;
  for (std::size_t b = 0; b + bins_of(control_share) < top; ++b) {
    flat += levels[b].flat;
    peaks += levels[b].peaks;
  }
  return std::max(flat / peaks, least_rate);
}

// Down from the highest: as many as make the most of it. Returns the lowest bin of these.
std::size_t PeakShapes::gather_evidence(const Levels& levels, std::size_t top, FlatPeaks& result) {
  const double by_nature = rate_by_nature(levels, top);
  std::int64_t flat = 0;
  std::size_t lowest = bins;
  for (std::size_t b = bins; b-- > top - std::min(top, bins_of(rail_share));) {
    result.high += levels[b].peaks;
    flat += levels[b].flat;
    if (levels[b].flat == 0) continue;
    const double evidence =
        decades(static_cast<double>(flat), static_cast<double>(result.high), by_nature);
    if (evidence <= result.evidence) continue;
    result.evidence = evidence;
    result.flat = flat;
    result.near = result.high;
    lowest = b;
  }
  return lowest;
}

FlatPeaks PeakShapes::Side::read_view(std::size_t view, Hertz rate) const {
  const Levels& levels = views[view];
  FlatPeaks result;
  result.all = all;
  result.highest = highest;
  result.coupling = Hertz(corners_hz[view / depths]);
  result.depth = inner * half_depths[view % depths];
  const auto top = top_bin(levels);
  if (!top) return result;
  for (std::size_t b = *top - std::min(*top, bins_of(0.5)); b < bins; ++b)
    result.judged += levels[b].peaks;
  const std::size_t lowest = gather_evidence(levels, *top, result);
  if (result.flat > 0) measure_tops(levels, lowest, rate, result);
  return result;
}

// Level, spread and length of the flat tops from a bin on.
void PeakShapes::Side::measure_tops(const Levels& levels, std::size_t lowest, Hertz rate,
                                    FlatPeaks& result) const {
  double sum = 0.0, squares = 0.0, samples = 0.0, longest = 0.0;
  for (std::size_t b = lowest; b < bins; ++b) {
    const double level = level_of(b, highest);
    sum += levels[b].flat * level;
    squares += levels[b].flat * level * level;
    samples += static_cast<double>(levels[b].flat_samples);
    longest = std::max(longest, static_cast<double>(levels[b].longest));
  }
  const auto count = static_cast<double>(result.flat);
  result.level = sum / count;
  result.spread =
      std::sqrt(std::max(0.0, squares / count - result.level * result.level)) / result.level;
  std::int64_t above = 0;
  for (std::size_t b = lowest; b < bins; ++b) {
    if (level_of(b, highest) > (1.0 + above_level) * result.level) above += levels[b].peaks;
  }
  result.above = static_cast<double>(above) / static_cast<double>(result.near);
  result.total = Seconds(samples / rate.value());
  result.longest = Seconds(longest / rate.value());
}

}  // namespace railtap::measure
