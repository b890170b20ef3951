// SPDX-License-Identifier: MIT
// Recorded samples by what was predicted for them.
#include "measure/added_clipping.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace railtap::measure {
namespace {

// As in flat_peaks.cpp, closer together: the level is wanted to 0.3 dB.
constexpr std::array<double, PredictedPeaks::couplings> corners_hz = {0.0,  2.0,  4.0,  7.0,
                                                                      10.0, 13.0, 17.0, 21.0};
constexpr double leak_hz = 0.2;
constexpr double lowest_share = 0.15;  // of the highest recorded sample
constexpr double bin_ratio = 0.005;    // natural logarithm: 0.043 dB
constexpr double neighbours_s = 1.7e-4;
// A sample further above its neighbours is part of a spike: what a filter behind the rail leaves of
// a spike that was cut is not flat.
constexpr double steepest_step = 1.25;
constexpr double explained = 10.0;  // energy
constexpr double above_misfit = 4.0;
constexpr double steepest = 0.25;
constexpr double least_overdrive = 1.012;  // 0.1 dB
constexpr double least_samples = 3.0;
// The misfit is taken between these shares of the rail, or of the highest peak.
constexpr double misfit_low = 0.3, misfit_high = 0.9;

}  // namespace

CouplingInverse::CouplingInverse(Hertz corner, Hertz rate)
    : omega_(2.0 * std::numbers::pi * corner.value() / rate.value()),
      keep_(1.0 - 2.0 * std::numbers::pi * leak_hz / rate.value()) {}

void CouplingInverse::restore(std::span<const double> samples, std::span<double> out) {
  for (std::size_t n = 0; n < samples.size(); ++n) out[n] = restore(samples[n]);
}

PredictedPeaks::PredictedPeaks(Hertz rate, double highest)
    : highest_(highest),
      neighbours_(std::max<std::size_t>(
          2, static_cast<std::size_t>(std::lround(neighbours_s * rate.value())))) {
  for (const double corner_hz : corners_hz) {
    const CouplingInverse inverse{Hertz(corner_hz), rate};
    views_.push_back(
        {inverse, inverse, std::vector<double>(2 * neighbours_ + 1, 0.0), {}, {}, 0.0});
    for (auto& side : views_.back().sides) side.resize(bins);
  }
}

double PredictedPeaks::off_diagonal(const Bin& bin) {
  return bin.xx - 2.0 * bin.xv + bin.vv;
}

double PredictedPeaks::level_of(std::size_t bin) const {
  return lowest_share * highest_ * std::exp(static_cast<double>(bin) * bin_ratio);
}

// Of a level not below the lowest.
std::size_t PredictedPeaks::bin_of(double level) const {
  const double place = std::log(level / (lowest_share * highest_)) / bin_ratio;
  return std::min(static_cast<std::size_t>(place), bins - 1);
}

void PredictedPeaks::note_peak(View& view, double predicted) {
  const std::size_t length = view.recent.size();
  view.recent[place_ % length] = predicted;
  const double middle = view.recent[(place_ + neighbours_ + 1) % length];
  const double size = std::abs(middle);
  if (size < lowest_share * highest_) return;
  for (std::size_t k = 0; k < length; ++k) {
    const double other = middle > 0.0 ? view.recent[k] : -view.recent[k];
    if (other > size) return;
  }
  ++view.sides[middle > 0.0 ? 0 : 1][bin_of(size)].peaks;
}

void PredictedPeaks::add(std::span<const double> recorded, std::span<const double> predicted) {
  for (std::size_t n = 0; n < recorded.size(); ++n, ++place_) {
    for (View& view : views_) {
      const double v = view.predicted.restore(predicted[n]);
      note_peak(view, v);
      const double x = view.recorded.restore(recorded[n]);
      enter(view, view.last_v[0], v);
      view.last_v = {view.last_v[1], v};
      view.last_x = x;
    }
  }
}

// The sample before the newest, by the least of itself and its neighbours.
void PredictedPeaks::enter(View& view, double before, double after) const {
  double v = view.last_v[1], x = view.last_x;
  const double lowest = lowest_share * highest_;
  if (!(std::abs(v) >= lowest)) return;
  const std::size_t side = v > 0.0 ? 0 : 1;
  const double sign = v > 0.0 ? 1.0 : -1.0;
  v *= sign;
  x *= sign;
  const double least = std::min({v, sign * before, sign * after});
  if (!(least >= lowest) || v > steepest_step * least) return;
  Bin& bin = view.sides[side][bin_of(least)];
  bin.count += 1.0;
  bin.x += x;
  bin.xx += x * x;
  bin.v += v;
  bin.vv += v * v;
  bin.xv += x * v;
}

PredictedPeaks::RailFit PredictedPeaks::fit_rail(const View& view, std::size_t side) const {
  const auto& levels = view.sides[side];
  RailFit fit;
  AddedRail& result = fit.rail;
  std::size_t top = bins;
  while (top > 0 && levels[top - 1].count == 0.0) --top;
  if (top == 0) return fit;
  for (std::size_t b = 0; b < bins; ++b)
    if (levels[b].peaks > 0) result.highest = level_of(b + 1);
  result.highest = std::max(result.highest, level_of(top));
  // From the top down: what a rail at the bottom of each bin would leave, less what the diagonal
  // leaves there.
  double count = 0.0, x = 0.0, xx = 0.0, diagonal = 0.0, best_gain = 0.0;
  std::size_t best = top;
  for (std::size_t b = top; b-- > 0;) {
    const Bin& bin = levels[b];
    count += bin.count;
    x += bin.x;
    xx += bin.xx;
    diagonal += off_diagonal(bin);
    const double c = level_of(b);
    const double gain = diagonal - (xx - 2.0 * c * x + c * c * count);
    if (gain <= best_gain) continue;
    best_gain = gain;
    best = b;
  }
  const double half = 0.5 * result.highest;
  for (std::size_t b = 0; b < bins; ++b)
    if (level_of(b) >= half) result.all_peaks += levels[b].peaks;
  if (best >= top) return fit;

  // The level is the mean of what was recorded well beyond the knee.
  const double knee = level_of(best);
  Bin beyond;
  for (std::size_t b = best + 1; b < top; ++b) {
    beyond.count += levels[b].count;
    beyond.x += levels[b].x;
    beyond.xx += levels[b].xx;
    beyond.v += levels[b].v;
    beyond.vv += levels[b].vv;
    beyond.xv += levels[b].xv;
  }
  for (std::size_t b = best + 1; b < bins; ++b) result.peaks += levels[b].peaks;
  double misfit = 0.0, size = 0.0;
  for (std::size_t b = 0; b < best; ++b) {
    if (level_of(b) < misfit_low * knee || level_of(b) > misfit_high * knee) continue;
    misfit += off_diagonal(levels[b]);
    size += levels[b].vv;
  }
  if (beyond.count < least_samples || size == 0.0) return fit;
  const double mean_x = beyond.x / beyond.count, mean_v = beyond.v / beyond.count;
  fit.missing = off_diagonal(beyond);
  fit.left = std::max(0.0, beyond.xx - 2.0 * knee * beyond.x + knee * knee * beyond.count);
  const double spread_v = beyond.vv - beyond.count * mean_v * mean_v;
  result.slope = spread_v > 0.0 ? (beyond.xv - beyond.count * mean_x * mean_v) / spread_v : 0.0;
  result.shortfall = std::sqrt(fit.missing / beyond.count) / knee;
  const double relative_misfit = std::sqrt(misfit / size);
  const double overdrive = result.highest / mean_x;
  result.flat = fit.missing > explained * fit.left &&
                result.shortfall > above_misfit * relative_misfit && result.slope < steepest &&
                overdrive > least_overdrive && result.peaks > 0;
  if (!result.flat) return fit;
  result.level = mean_x;
  result.overdrive = overdrive;
  return fit;
}

AddedClipping PredictedPeaks::read() const {
  AddedClipping best;
  double least_left = 1.0;
  bool best_flat = false;
  const View* chosen = nullptr;
  for (std::size_t c = 0; c < couplings; ++c) {
    const RailFit up = fit_rail(views_[c], 0), down = fit_rail(views_[c], 1);
    const double missing = up.missing + down.missing;
    const double left = missing > 0.0 ? (up.left + down.left) / missing : 1.0;
    const bool flat = up.rail.flat || down.rail.flat;
    if (chosen != nullptr && (left >= least_left || (best_flat && !flat)) && flat <= best_flat)
      continue;
    least_left = left;
    best_flat = flat;
    best.positive = up.rail;
    best.negative = down.rail;
    best.coupling = Hertz(corners_hz[c]);
    best.left = left;
    chosen = &views_[c];
  }
  best.residual = misfit_below(*chosen, best);
  return best;
}

double PredictedPeaks::misfit_below(const View& view, const AddedClipping& rails) const {
  double misfit = 0.0, size = 0.0;
  for (std::size_t side = 0; side < 2; ++side) {
    const AddedRail& r = side == 0 ? rails.positive : rails.negative;
    const double limit = misfit_high * (r.flat ? r.level : r.highest);
    for (std::size_t b = 0; b < bins && level_of(b) < limit; ++b) {
      misfit += off_diagonal(view.sides[side][b]);
      size += view.sides[side][b].vv;
    }
  }
  return size > 0.0 ? std::sqrt(std::max(0.0, misfit) / size) : 1.0;
}

}  // namespace railtap::measure
