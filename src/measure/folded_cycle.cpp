// SPDX-License-Identifier: MIT
// One cycle put together from all cycles of a tone: the picture of the waveform, and a check
// of the clipped-sine model.
#include "measure/folded_cycle.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

using std::numbers::pi;

constexpr std::size_t least_points = 16;

/// Where in the cycle, in slices, each of a few samples lies. \param start >= 0, step >= 0, cycles
RAILTAP_VECTORIZE void places_of(double start, double step, double slices, double* places,
                                 std::size_t count) {
#pragma omp simd
  for (std::size_t n = 0; n < count; ++n) {
    const double cycles = start + step * static_cast<double>(static_cast<int>(n));
    places[n] = (cycles - static_cast<double>(static_cast<int>(cycles))) * slices;
  }
}

/// One point of a half cycle, seen from its crest: the angle from there, and the value away from 0.
struct CrestPoint {
  double angle;         // from the crest, radians
  double cosine, sine;  // of it: the fits below need them a hundred times
  double value;
};

double wrapped(double cycles) {
  return cycles - std::floor(cycles);
}

/// Takes the mean out, each point standing for the stretch of phase around it.
double mean_over_phase(std::span<const FoldedPoint> points) {
  double sum = 0.0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const FoldedPoint& next = points[(i + 1) % points.size()];
    const double width = wrapped(next.phase - points[i].phase);
    sum += 0.5 * (points[i].mean + next.mean) * width;
  }
  return sum;
}

/// Adds 2π·fc·∫x dt by the trapezoid rule, and takes the mean out again.
std::vector<FoldedPoint> untilted(std::span<const FoldedPoint> points,
                                  double corner_re_fundamental) {
  std::vector<FoldedPoint> out(points.begin(), points.end());
  const double mean = mean_over_phase(points);
  double integral = 0.0;
  for (std::size_t i = 0; i < out.size(); ++i) {
    if (i > 0) {
      const double width = points[i].phase - points[i - 1].phase;
      integral += (0.5 * (points[i].mean + points[i - 1].mean) - mean) * width;
    }
    const double tilt = 2.0 * pi * corner_re_fundamental * integral - mean;
    out[i].mean += tilt;
    out[i].low += tilt;
    out[i].high += tilt;
  }
  const double rest = mean_over_phase(out);
  for (FoldedPoint& point : out) {
    point.mean -= rest;
    point.low -= rest;
    point.high -= rest;
  }
  return out;
}

/// Phase of the upright cycle's fundamental against the measured one's: the coupling leads, so it
/// lags.
double lag_cycles(double corner_re_fundamental) {
  return std::atan(corner_re_fundamental) / (2.0 * pi);
}

/// The half cycle around the crest at `crest_phase`, values multiplied by `side`.
std::vector<CrestPoint> half_cycle(std::span<const FoldedPoint> points, double crest_phase,
                                   double side) {
  std::vector<CrestPoint> half;
  for (const FoldedPoint& point : points) {
    const double cycles = wrapped(point.phase - crest_phase + 0.5) - 0.5;
    if (std::abs(cycles) > 0.25) continue;
    const double angle = 2.0 * pi * cycles;
    half.push_back({angle, std::cos(angle), std::sin(angle), side * point.mean});
  }
  return half;
}

/// Least squares of a·g + b + d·g' to a half cycle, where g is a cosine held at its value at the
/// angle p.
struct HeldCosine {
  double gain = 0.0;
  double error = 0.0;  ///< sum of squares
};

/// Solves the symmetric 3×3 system by elimination; the caller's matrix is positive definite for a
/// half cycle of more than a few points.
std::array<double, 3> solve(std::array<std::array<double, 4>, 3> m) {
  for (std::size_t i = 0; i < 3; ++i) {
    for (std::size_t row = i + 1; row < 3; ++row) {
      const double factor = m[row][i] / m[i][i];
      for (std::size_t column = i; column < 4; ++column) m[row][column] -= factor * m[i][column];
    }
  }
  std::array<double, 3> x{};
  for (std::size_t i = 3; i-- > 0;) {
    x[i] = m[i][3];
    for (std::size_t column = i + 1; column < 3; ++column) x[i] -= m[i][column] * x[column];
    x[i] /= m[i][i];
  }
  return x;
}

std::array<double, 3> held_basis(const CrestPoint& point, double p, double cosine_of_p) {
  if (std::abs(point.angle) <= p) return {cosine_of_p, 1.0, 0.0};
  return {point.cosine, 1.0, -point.sine};  // the last lets the crest lie a little aside
}

HeldCosine fit_held(std::span<const CrestPoint> half, double p) {
  const double cosine_of_p = std::cos(p);
  std::array<std::array<double, 4>, 3> normal{};
  for (const CrestPoint& point : half) {
    const auto basis = held_basis(point, p, cosine_of_p);
    for (std::size_t i = 0; i < 3; ++i) {
      for (std::size_t j = 0; j < 3; ++j) normal[i][j] += basis[i] * basis[j];
      normal[i][3] += basis[i] * point.value;
    }
  }
  const auto x = solve(normal);
  HeldCosine fit{x[0], 0.0};
  for (const CrestPoint& point : half) {
    const auto basis = held_basis(point, p, cosine_of_p);
    const double miss = point.value - x[0] * basis[0] - x[1] * basis[1] - x[2] * basis[2];
    fit.error += miss * miss;
  }
  return fit;
}

/// The angle that fits best: over a coarse grid, a fine one around its best, then the vertex of the
/// parabola through the neighbours.
struct BestAngle {
  double angle = 0.0;
  HeldCosine fit;
};

constexpr double angle_step = 0.0125;  // radians; half a slice of 256
constexpr int coarse_steps = 4;
constexpr int widest_steps = 108;  // 1.35 radians leave enough of the flanks to fit

/// The step with the least error among every `stride`th of a range.
int best_step(std::span<const CrestPoint> half, int from, int to, int stride) {
  int best = from;
  double least = 1e300;
  for (int step = from; step <= to; step += stride) {
    const double error = fit_held(half, angle_step * step).error;
    if (error < least) {
      least = error;
      best = step;
    }
  }
  return best;
}

BestAngle best_angle(std::span<const CrestPoint> half) {
  const int coarse = best_step(half, 0, widest_steps, coarse_steps);
  const int at = best_step(half, std::max(coarse - coarse_steps + 1, 0),
                           std::min(coarse + coarse_steps - 1, widest_steps), 1);
  double p = angle_step * at;
  if (at > 0 && at < widest_steps) {
    const auto error = [&](int step) { return fit_held(half, angle_step * step).error; };
    const double before = error(at - 1), after = error(at + 1);
    const double curve = before - 2.0 * error(at) + after;
    if (curve > 0.0) p += 0.5 * angle_step * (before - after) / curve;
  }
  return {p, fit_held(half, p)};
}

/// Slope of the values against the cosine, on the plateau, re the gain of the flanks; and its
/// uncertainty.
struct CrestSlope {
  double gain = 1.0, sigma = 1.0;
};

CrestSlope crest_slope(std::span<const CrestPoint> half, const BestAngle& best) {
  double n = 0.0, sum_x = 0.0, sum_y = 0.0, sum_xx = 0.0, sum_xy = 0.0;
  for (const CrestPoint& point : half) {
    if (std::abs(point.angle) > best.angle) continue;
    const double x = point.cosine;
    n += 1.0;
    sum_x += x;
    sum_y += point.value;
    sum_xx += x * x;
    sum_xy += x * point.value;
  }
  constexpr double least = 3.0;
  const double spread = sum_xx - sum_x * sum_x / std::max(n, 1.0);
  if (n < least || spread <= 0.0) return {};
  const double noise = best.fit.error / std::max(1.0, static_cast<double>(half.size()) - 4.0);
  return {(sum_xy - sum_x * sum_y / n) / spread / best.fit.gain,
          std::sqrt(noise / spread) / std::abs(best.fit.gain)};
}

Plateau plateau_of(std::span<const CrestPoint> half) {
  constexpr double clearly = 25.0;   // five standard deviations
  constexpr double flat_gain = 0.3;  // a bend keeps more, a rounded plateau less
  Plateau plateau;
  if (half.size() < least_points / 2) return plateau;
  const BestAngle best = best_angle(half);
  const double degrees = static_cast<double>(half.size()) - 4.0;
  const double noise = best.fit.error / degrees;
  const double gained = fit_held(half, 0.0).error - best.fit.error;
  const CrestSlope slope = crest_slope(half, best);
  plateau.crest_gain = slope.gain;
  plateau.flat = best.fit.gain > 0.0 && gained > clearly * noise &&
                 std::abs(slope.gain) + 2.0 * slope.sigma < flat_gain;
  if (plateau.flat) plateau.share = Percent(100.0 * best.angle / pi);
  return plateau;
}

/// The value at a phase, between the neighbouring points in a straight line.
double value_at(std::span<const FoldedPoint> points, double phase) {
  const double target = wrapped(phase);
  auto next = std::lower_bound(points.begin(), points.end(), target,
                               [](const FoldedPoint& p, double value) { return p.phase < value; });
  const FoldedPoint& after = next == points.end() ? points.front() : *next;
  const FoldedPoint& before = next == points.begin() ? points.back() : *(next - 1);
  const double width = wrapped(after.phase - before.phase);
  const double share = width > 0.0 ? wrapped(target - before.phase) / width : 0.0;
  return before.mean + share * (after.mean - before.mean);
}

std::vector<TransferPoint> transfer_curve(std::span<const FoldedPoint> upright, double lag) {
  std::vector<TransferPoint> curve;
  const std::size_t size = upright.size() / 2;
  for (std::size_t i = 0; i <= size; ++i) {
    const double quarter = -0.25 + 0.5 * static_cast<double>(i) / static_cast<double>(size);
    curve.push_back({std::sin(2.0 * pi * quarter), value_at(upright, quarter + lag),
                     value_at(upright, 0.5 - quarter + lag)});
  }
  return curve;
}

/// Whether one rail's plateau and overdrive agree.
Agreement compare_rail(const Plateau& plateau, const RailOverdrive& rail) {
  constexpr double shortest = 5.0;  // percent of the cycle: below, either may miss it
  constexpr double apart = 2.0;     // percent of the cycle: some 5 slices of 256
  constexpr double apart_share = 0.15;
  const double model = rail.flat ? rail.plateau.value() : 0.0;
  const double fold = plateau.flat ? plateau.share.value() : 0.0;
  if (std::max(model, fold) < shortest) return Agreement::cannot_tell;
  const bool near = std::abs(model - fold) < std::max(apart, apart_share * model);
  return near ? Agreement::agree : Agreement::disagree;
}

}  // namespace

CycleFold::CycleFold(std::size_t slices) : slices_(std::clamp<std::size_t>(slices, 16, 4096)) {}

void CycleFold::clear() {
  std::fill(slices_.begin(), slices_.end(), Slice{});
}

void CycleFold::add(std::span<const double> samples, double phase, double step) {
  constexpr std::size_t chunk_length = 256;
  std::array<double, chunk_length> places;
  const double slices = static_cast<double>(slices_.size());
  for (std::size_t first = 0; first < samples.size(); first += chunk_length) {
    const std::size_t count = std::min(chunk_length, samples.size() - first);
    const double start = wrapped(phase + step * static_cast<double>(first));
    places_of(start, step, slices, places.data(), count);
    for (std::size_t n = 0; n < count; ++n) {
      const auto index = std::min(static_cast<std::size_t>(places[n]), slices_.size() - 1);
      Slice& slice = slices_[index];
      const double value = samples[first + n];
      slice.low = std::min(slice.low, value);
      slice.high = std::max(slice.high, value);
      slice.offset += places[n] - static_cast<double>(index);
      slice.sum += value;
      ++slice.count;
    }
  }
}

std::vector<FoldedPoint> CycleFold::points() const {
  std::vector<FoldedPoint> out;
  out.reserve(slices_.size());
  for (std::size_t i = 0; i < slices_.size(); ++i) {
    const Slice& slice = slices_[i];
    if (slice.count == 0) continue;
    const double n = static_cast<double>(slice.count);
    const double phase =
        (static_cast<double>(i) + slice.offset / n) / static_cast<double>(slices_.size());
    out.push_back({phase, slice.sum / n, slice.low, slice.high, slice.count});
  }
  return out;
}

FoldReading read_fold(std::span<const FoldedPoint> points, Hertz fundamental, Hertz coupling) {
  FoldReading reading;
  if (points.size() < least_points || fundamental <= Hertz(0.0)) return reading;
  const double corner = coupling / fundamental;
  const double lag = lag_cycles(corner);
  reading.upright = untilted(points, corner);
  reading.transfer = transfer_curve(reading.upright, lag);
  reading.positive = plateau_of(half_cycle(reading.upright, 0.25 + lag, 1.0));
  reading.negative = plateau_of(half_cycle(reading.upright, 0.75 + lag, -1.0));
  return reading;
}

Agreement compare(const FoldReading& fold, const ClippedSineFit& fit) {
  constexpr int enough_orders = 7;  // below, a band-limited plateau is no longer flat
  if (fold.upright.empty() || fit.orders_used < enough_orders) return Agreement::cannot_tell;
  const Agreement positive = compare_rail(fold.positive, fit.positive);
  const Agreement negative = compare_rail(fold.negative, fit.negative);
  if (positive == Agreement::disagree || negative == Agreement::disagree)
    return Agreement::disagree;
  const bool either = positive == Agreement::agree || negative == Agreement::agree;
  return either ? Agreement::agree : Agreement::cannot_tell;
}

}  // namespace railtap::measure
