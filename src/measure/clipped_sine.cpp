// SPDX-License-Identifier: MIT
// How far a sine is over each rail, found from its harmonics: the clipped-sine model fit.
#include "measure/clipped_sine.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <functional>
#include <numbers>
#include <span>

#include "measure/clipped_sine_model.hpp"
#include "measure/clipped_sine_search.hpp"

namespace railtap::measure {
namespace {

using namespace clip;

/// Overdrive of a rail and its derivatives by the rail's own parameter and by the knee.
struct RailReading {
  double overdrive_db, by_rail, by_knee, slope, plateau;
};

RailReading read_corner(double q) {
  const double db = 20.0 / std::numbers::ln10;
  const double angle = std::cbrt(std::max(q, 1e-12));
  return {-db * std::log(std::cos(angle)), db * std::tan(angle) / (3.0 * angle * angle), 0.0, 0.0,
          angle / std::numbers::pi};
}

RailReading read_knee(double middle, double width) {
  const double db = 20.0 / std::numbers::ln10;
  const double step = 1e-5;
  const auto overdrive = [&](double m, double w) { return -db * std::log(crest_of(m, w).level); };
  return {overdrive(middle, width),
          (overdrive(middle + step, width) - overdrive(middle - step, width)) / (2.0 * step),
          (overdrive(middle, width + step) - overdrive(middle, width - step)) / (2.0 * step),
          crest_of(middle, width).slope, middle < 1.0 ? std::acos(middle) / std::numbers::pi : 0.0};
}

RailOverdrive rail_of(const Outcome& o, Parameter rail) {
  RailOverdrive out;
  if (!(rail == rail_positive ? o.shape.positive : o.shape.negative)) return out;
  const RailReading reading =
      o.shape.with_knee ? read_knee(o.fit.at[rail], o.fit.at[knee]) : read_corner(o.fit.at[rail]);
  const auto& covariance = o.fit.covariance;
  const double variance = reading.by_rail * reading.by_rail * covariance[rail][rail] +
                          2.0 * reading.by_rail * reading.by_knee * covariance[rail][knee] +
                          reading.by_knee * reading.by_knee * covariance[knee][knee];
  out.overdrive = Decibels(reading.overdrive_db);
  out.uncertainty = Decibels(std::sqrt(std::max(variance, 0.0) * variance_scale(o.fit)));
  out.significance = o.significance[rail == rail_positive ? 0 : 1];
  out.plateau = Percent(100.0 * reading.plateau);
  out.crest_slope = reading.slope;
  return out;
}

/// How far a rail may be over: the search grid ends there, and a one-sided cut of more than 15 dB
/// is a rectifier.
constexpr double most_one_sided_db = 15.0;
/// No capture chain couples higher; the fit may go below 0 by its own uncertainty.
constexpr Hertz highest_coupling{150.0};
/// A crest whose gain is below a tenth of that in the middle is flat.
constexpr double flat_slope = 0.1;
/// Misfit that a chain of ordinary linearity leaves: a tenth of the harmonics' amplitude.
/// Crossover, slewing and even-order distortion leave more; see the table in docs/method.md.
constexpr double tolerated_misfit_db = -20.0;
/// Fewer orders do not distinguish a corner from a bend: a symmetric clip then has one harmonic.
constexpr int deciding_orders = 5;

/// Misfit beyond the noise over the energy of the harmonics; none if there is nothing but noise.
std::optional<Decibels> relative_misfit(const Outcome& o) {
  double energy = 0.0, noise = 0.0, significance = 0.0;
  for (std::size_t n = 2; n <= o.problem.orders; ++n) {
    const double power = std::norm(o.problem.harmonic[n]);
    const double weight = o.problem.weight[n] * o.problem.weight[n];
    if (weight <= 0.0) continue;
    energy += power;
    noise += 2.0 / weight;
    significance += power * weight;
  }
  const double degrees = 2.0 * static_cast<double>(o.problem.orders - 1);
  if (excess_of(significance, degrees) < misfit_limit) return std::nullopt;
  const double misfit = misfit_energy(o.problem, o.shape, o.fit.at) - noise;
  // What is below a hundredth of the noise cannot be distinguished from it.
  return decibels_from_power_ratio(std::max(misfit, 0.01 * noise) / energy);
}

/// Whether a bend explains the harmonics nearly as well as the flat top found: a law whose gain at
/// the crest is still a half (the middle of its knee lies at the crest), its width free. Weak or
/// few harmonics do not distinguish the two.
bool may_be_a_bend(const Outcome& o) {
  constexpr double excluded = 16.0;  // of chi-squared: four standard deviations
  Outcome bend = o;
  bend.shape.with_knee = true;
  for (const Parameter rail : {rail_positive, rail_negative}) {
    bend.shape.free[rail] = false;
    bend.fit.at[rail] = 1.0;
  }
  bend.shape.free[knee] = true;
  double least = 1e300;
  for (const double width : {0.01, 0.1}) {
    bend.fit.at[knee] = width;
    least = std::min(least, minimise(o.problem, bend.shape, bend.fit.at, fair).chi_squared);
  }
  return (least - o.fit.chi_squared) / variance_scale(o.fit) < excluded;
}

/// Whether the flat top is seen in more than the one or two strongest harmonics: those alone could
/// as well be a curved law's second and third.
bool seen_in_many_orders(const Outcome& o) {
  constexpr std::size_t plenty = 10;
  ByOrder chi = chi_squared_by_order(o.problem, o.shape, o.fit.at);
  for (std::size_t n = 2; n <= o.problem.orders; ++n) chi.measured[n] -= chi.left[n];
  const auto orders = std::span(chi.measured).subspan(2, o.problem.orders - 1);
  std::sort(orders.begin(), orders.end(), std::greater<>());
  const std::size_t strongest = o.problem.orders < plenty ? 1 : 2;
  double rest = 0.0;
  for (const double value : orders.subspan(strongest)) rest += value;
  return rest > significant * significant * variance_scale(o.fit);
}

bool is_flat(const ClippedSineFit& fit, const RailOverdrive& rail, const RailOverdrive& other,
             const ClippedSineOptions& options) {
  const bool one_sided = other.significance == 0.0;
  const bool plausible = (!one_sided || rail.overdrive.value() < most_one_sided_db) &&
                         fit.coupling > -highest_coupling && fit.coupling < highest_coupling;
  return fit.explained && fit.decidable && plausible && rail.significance > 0.0 &&
         rail.crest_slope < flat_slope && rail.overdrive >= options.smallest_overdrive;
}

ClippedSineFit report(const Outcome& o, const ClippedSineOptions& options) {
  ClippedSineFit out;
  out.orders_used = static_cast<int>(o.problem.orders);
  out.model = o.shape.positive || o.shape.negative ? o.model : ClipModel::sine;
  const bool clean = out.model == ClipModel::sine;  // then nothing depends on the coupling
  out.amplitude_fs = clean ? std::abs(o.problem.harmonic[1]) : o.fit.at[amplitude];
  out.coupling = Hertz(clean ? 0.0 : o.fit.at[coupling]);
  out.knee = o.shape.with_knee ? o.fit.at[knee] : 0.0;
  out.residual_re_noise = std::sqrt(reduced_chi(o.fit));
  out.residual_re_harmonics = relative_misfit(o);
  const bool near_enough =
      out.residual_re_harmonics && out.residual_re_harmonics->value() < tolerated_misfit_db;
  out.explained = explains(o.fit) || near_enough;
  out.positive = rail_of(o, rail_positive);
  out.negative = rail_of(o, rail_negative);
  const bool any = o.shape.positive || o.shape.negative;
  out.decidable =
      out.orders_used >= deciding_orders && !(any && (!seen_in_many_orders(o) || may_be_a_bend(o)));
  out.positive.flat = is_flat(out, out.positive, out.negative, options);
  out.negative.flat = is_flat(out, out.negative, out.positive, options);
  return out;
}

}  // namespace

ClippedSineFit fit_clipped_sine(const HarmonicSeries& tone, const ClippedSineOptions& options) {
  constexpr std::size_t least_orders = 3;
  const Problem problem = problem_of(tone, options.highest_frequency.value());
  if (problem.orders < least_orders || std::abs(problem.harmonic[1]) <= 0.0) return {};
  return report(best_outcome(tone, options.highest_frequency.value()), options);
}

}  // namespace railtap::measure
