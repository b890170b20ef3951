// SPDX-License-Identifier: MIT
// Recorded samples by what was predicted for them.
#include "measure/added_clipping.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace railtap::measure {
namespace {

// As in flat_runs.cpp, closer together: the level is wanted to 0.3 dB.
constexpr Corners coarse = {Hertz(0.0),  Hertz(2.0),  Hertz(4.0),  Hertz(7.0),
                            Hertz(10.0), Hertz(13.0), Hertz(17.0), Hertz(21.0)};
constexpr double leak_hz = 0.2;
constexpr double lowest_share = 0.15;  // of the highest recorded sample
constexpr double bin_ratio = 0.005;    // natural logarithm: 0.043 dB
constexpr double neighbours_s = 1.7e-4;
constexpr double beginning_s = 0.25;
// A sample further above its neighbours is part of a spike: what a filter behind the rail leaves of
// a spike that was cut is not flat.
constexpr double steepest_step = 1.25;
constexpr double explained = 10.0;  // energy
constexpr double above_misfit = 4.0;
constexpr double steepest = 0.25;
constexpr double least_overdrive = 1.012;  // 0.1 dB
constexpr double least_samples = 3.0;
// A rail that is fitted to the highest peaks takes away what it should, and leaves little, or what
// other peaks have too.
constexpr double least_gain = 0.7, most_left = 0.2;
constexpr double most_left_by_noise = 0.7, above_usual = 2.0;
// The misfit is taken between these shares of the rail, or of the highest peak.
constexpr double misfit_low = 0.3, misfit_high = 0.9;

}  // namespace

Corners coarse_corners() {
  return coarse;
}

Corners corners_around(Hertz corner, Hertz apart) {
  Corners corners{};
  for (std::size_t c = 0; c < corners.size(); ++c) {
    const double beside = apart.value() * (static_cast<double>(c) - 4.0);
    corners[c] = Hertz(std::max(0.0, corner.value() + beside));
  }
  return corners;
}

CouplingInverse::CouplingInverse(Hertz corner, Hertz rate)
    : omega_(2.0 * std::numbers::pi * corner.value() / rate.value()),
      keep_(1.0 - 2.0 * std::numbers::pi * leak_hz / rate.value()) {}

void CouplingInverse::restore(std::span<const double> samples, std::span<double> out) {
  for (std::size_t n = 0; n < samples.size(); ++n) out[n] = restore(samples[n]);
}

LargestDeparture::LargestDeparture(Hertz rate)
    : recent_(static_cast<std::size_t>(std::max(1L, std::lround(neighbours_s * rate.value()))),
              0.0),
      first_(beginning(rate)) {}

std::size_t LargestDeparture::beginning(Hertz rate) {
  return static_cast<std::size_t>(beginning_s * rate.value());
}

void LargestDeparture::add(std::span<const double> recorded, std::span<const double> predicted) {
  for (std::size_t n = 0; n < recorded.size(); ++n, ++place_) {
    double& oldest = recent_[place_ % recent_.size()];
    const double difference = recorded[n] - predicted[n];
    sum_ += difference - oldest;
    oldest = difference;
    if (place_ < first_) continue;
    largest_ = std::max(largest_, std::abs(sum_));
    highest_ = std::max(highest_, std::abs(predicted[n]));
  }
}

double LargestDeparture::read() const {
  return highest_ > 0.0 ? largest_ / static_cast<double>(recent_.size()) / highest_ : 0.0;
}

PredictedPeaks::PredictedPeaks(Hertz rate, double highest, const Corners& corners)
    : corners_(corners),
      highest_(highest),
      neighbours_(std::max<std::size_t>(
          2, static_cast<std::size_t>(std::lround(neighbours_s * rate.value())))) {
  for (const Hertz corner : corners_) {
    const CouplingInverse inverse{corner, rate};
    views_.push_back(
        {inverse, inverse, std::vector<double>(2 * neighbours_ + 1, 0.0), {}, {}, 0.0});
    for (auto& side : views_.back().sides) side.resize(bins);
  }
}

double PredictedPeaks::off_diagonal(const Bin& bin) {
  return bin.xx - 2.0 * bin.xv + bin.vv;
}

double PredictedPeaks::off_level(const Bin& bin, double level) {
  return bin.xx - 2.0 * level * bin.x + level * level * bin.count;
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

void PredictedPeaks::Bin::add(const Bin& other) {
  count += other.count;
  x += other.x;
  xx += other.xx;
  v += other.v;
  vv += other.vv;
  xv += other.xv;
  peaks += other.peaks;
}

// From the top down: the bin at whose bottom a rail leaves the least, compared with the diagonal;
// the number of bins where none does.
std::size_t PredictedPeaks::knee_of(const Levels& levels) const {
  Bin above;
  double best_gain = 0.0;
  std::size_t best = bins;
  for (std::size_t b = bins; b-- > 0;) {
    above.add(levels[b]);
    const double gain = off_diagonal(above) - off_level(above, level_of(b));
    if (gain <= best_gain) continue;
    best_gain = gain;
    best = b;
  }
  return best;
}

// RMS of recorded less predicted over that of predicted, well below the knee; none without samples.
std::optional<double> PredictedPeaks::misfit_under(const Levels& levels, double knee) const {
  Bin under;
  for (std::size_t b = 0; b < bins && level_of(b) <= misfit_high * knee; ++b)
    if (level_of(b) >= misfit_low * knee) under.add(levels[b]);
  if (under.vv == 0.0) return std::nullopt;
  return std::sqrt(std::max(0.0, off_diagonal(under)) / under.vv);
}

void PredictedPeaks::count_peaks(const Levels& levels, AddedRail& rail) const {
  for (std::size_t b = 0; b < bins; ++b)
    if (levels[b].peaks > 0 || levels[b].count > 0.0) rail.highest = level_of(b + 1);
  rail.all_peaks = 0;
  for (std::size_t b = 0; b < bins; ++b)
    if (level_of(b) >= 0.5 * rail.highest) rail.all_peaks += levels[b].peaks;
}

PredictedPeaks::RailFit PredictedPeaks::fit_rail(const View& view, std::size_t side) const {
  const Levels& levels = view.sides[side];
  RailFit fit;
  AddedRail& result = fit.rail;
  count_peaks(levels, result);
  const std::size_t best = knee_of(levels);
  if (best == bins) return fit;
  const double knee = level_of(best);
  // The level is the mean of what was recorded beyond the knee's own bin.
  Bin beyond;
  for (std::size_t b = best + 1; b < bins; ++b) beyond.add(levels[b]);
  result.peaks = beyond.peaks;
  const auto misfit = misfit_under(levels, knee);
  if (beyond.count < least_samples || !misfit) return fit;
  const double mean_x = beyond.x / beyond.count, mean_v = beyond.v / beyond.count;
  fit.missing = off_diagonal(beyond);
  fit.left = std::max(0.0, off_level(beyond, knee));
  const double spread_v = beyond.vv - beyond.count * mean_v * mean_v;
  result.slope = spread_v > 0.0 ? (beyond.xv - beyond.count * mean_x * mean_v) / spread_v : 0.0;
  result.shortfall = std::sqrt(std::max(0.0, fit.missing) / beyond.count) / knee;
  const double overdrive = result.highest / mean_x;
  result.flat = fit.missing > explained * fit.left && result.shortfall > above_misfit * *misfit &&
                result.slope < steepest && overdrive > least_overdrive && result.peaks > 0;
  if (!result.flat) return fit;
  result.level = mean_x;
  result.overdrive = overdrive;
  return fit;
}

// The corner whose rails leave the least.
const PredictedPeaks::View* PredictedPeaks::choose(AddedClipping& best) const {
  double least_left = 1.0;
  bool best_flat = false;
  const View* chosen = nullptr;
  for (std::size_t c = 0; c < corners_.size(); ++c) {
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
    best.coupling = corners_[c];
    best.left = left;
    chosen = &views_[c];
  }
  return chosen;
}

// Whether tops that are flat for long, as those of bass are, leave less than the highest peaks do,
// of which only their middle is compared.
bool PredictedPeaks::leaves_less(const AddedClipping& rails, const CutPeaks& cut) {
  if (!rails.positive.flat && !rails.negative.flat) return false;
  return rails.left < std::min(cut.positive.left, cut.negative.left);
}

AddedClipping PredictedPeaks::read(const CutPeaks& cut, Tops tops) const {
  AddedClipping rails;
  const View* chosen = choose(rails);
  rails.residual = misfit_below(*chosen, rails);
  take_out_offset(*chosen, rails);
  if (tops == Tops::any || !leaves_less(rails, cut)) take_over(cut, rails);
  return rails;
}

bool PredictedPeaks::explains(const CutSide& cut, const Levels& levels) const {
  if (cut.level < lowest_share * highest_ || cut.highest < least_overdrive * cut.level)
    return false;
  const auto misfit = misfit_under(levels, cut.level);
  const double share = cut.gain / cut.missing;
  const bool as_usual = cut.left < most_left_by_noise && cut.left < above_usual * cut.usual;
  return misfit && cut.depth > above_misfit * *misfit && (cut.left < most_left || as_usual) &&
         share > least_gain && share < 2.0 - least_gain;
}

void PredictedPeaks::take_over(const CutPeaks& cut, AddedClipping& rails) const {
  std::size_t nearest = 0;
  for (std::size_t c = 1; c < corners_.size(); ++c)
    if (std::abs((corners_[c] - cut.coupling).value()) <
        std::abs((corners_[nearest] - cut.coupling).value()))
      nearest = c;
  const View& view = views_[nearest];
  bool taken = false;
  for (std::size_t side = 0; side < 2; ++side) {
    const CutSide& from = side == 0 ? cut.positive : cut.negative;
    AddedRail& rail = side == 0 ? rails.positive : rails.negative;
    const Levels& levels = view.sides[side];
    if (!explains(from, levels)) continue;
    rail.flat = true;
    rail.level = from.level;
    rail.overdrive = from.highest / from.level;
    rail.shortfall = from.depth;
    rail.slope = 0.0;
    count_peaks(levels, rail);
    rail.peaks = 0;
    for (std::size_t b = bin_of(from.level) + 1; b < bins; ++b) rail.peaks += levels[b].peaks;
    rail.peaks = std::max(rail.peaks, static_cast<std::int64_t>(from.peaks));
    rail.all_peaks = std::max(rail.all_peaks, rail.peaks);
    taken = true;
  }
  if (!taken) return;
  rails.coupling = cut.coupling;
  rails.residual = misfit_below(view, rails);
}

// What is cut unevenly has a mean that no coupling passes: the recording then lies beside the
// prediction by it, below the rails as at them.
void PredictedPeaks::take_out_offset(const View& view, AddedClipping& rails) const {
  double sum = 0.0, count = 0.0;
  for (std::size_t side = 0; side < 2; ++side) {
    const AddedRail& r = side == 0 ? rails.positive : rails.negative;
    const double limit = r.flat ? r.level : r.highest;
    for (std::size_t b = 0; b < bins && level_of(b) < misfit_high * limit; ++b) {
      if (level_of(b) < misfit_low * limit) continue;
      const Bin& bin = view.sides[side][b];
      sum += (side == 0 ? 1.0 : -1.0) * (bin.v - bin.x);
      count += bin.count;
    }
  }
  if (count == 0.0) return;
  const double offset = sum / count;
  for (AddedRail* rail : {&rails.positive, &rails.negative}) {
    if (!rail->flat) continue;
    rail->level += rail == &rails.positive ? offset : -offset;
    rail->overdrive = std::max(1.0, rail->highest / rail->level);
  }
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
