// SPDX-License-Identifier: MIT
// How far a sine is over each rail, found from its harmonics: the clipped-sine model fit, and the
// search for the model that explains them.
#include "measure/clipped_sine.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <functional>
#include <numbers>
#include <span>

#include "measure/clipped_sine_model.hpp"

namespace railtap::measure {

// How far a sine is over each rail, found from its harmonics: the clipped-sine model fit.

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

// The search for the clipped sine that explains measured harmonics: starting points, models,
// choice.

namespace railtap::measure::clip {

double excess_of(double chi_squared, double degrees) {
  if (degrees < 1.0) return 0.0;
  const double spread = 2.0 / (9.0 * degrees);
  return (std::cbrt(chi_squared / degrees) - (1.0 - spread)) / std::sqrt(spread);
}

double reduced_chi(const Fit& fit) {
  return fit.chi_squared / std::max(fit.degrees, 1.0);
}

double variance_scale(const Fit& fit) {
  constexpr double noise_only = 3.0;
  return excess_of(fit.chi_squared, fit.degrees) < noise_only ? 1.0 : reduced_chi(fit);
}

bool explains(const Fit& fit) {
  return excess_of(fit.chi_squared, fit.degrees) < misfit_limit;
}

namespace {

/// The points where the search starts: overdrives from a trace to a square wave, and couplings.
constexpr std::array<double, 10> grid_overdrive_db{0.0, 0.02, 0.06, 0.15, 0.35,
                                                   0.8, 1.6,  3.0,  6.0,  12.0};
constexpr std::array<double, 8> grid_coupling_hz{0.0, 3.0, 7.0, 12.0, 18.0, 24.0, 30.0, 45.0};

struct GridTables {
  std::array<std::array<double, max_orders + 1>, grid_overdrive_db.size()> excess;
  std::array<double, grid_overdrive_db.size()> angle;
};

GridTables grid_tables(std::size_t orders) {
  GridTables tables;
  std::array<double, max_orders + 2> chord;
  for (std::size_t i = 0; i < grid_overdrive_db.size(); ++i) {
    tables.angle[i] = std::acos(std::pow(10.0, -grid_overdrive_db[i] / 20.0));
    excess_series(tables.angle[i], std::span(chord).first(orders + 2),
                  std::span(tables.excess[i]).first(orders + 1));
  }
  return tables;
}

struct Candidate {
  double cost = 0.0;
  double without_rails = 0.0;  ///< the cost of no rails at all
  Parameters at{};
};

/// The best point of the grid over both rails, for one coupling: amplitude and phase follow from
/// the fundamental, so the cost of every pair comes from a few sums.
Candidate best_on_grid(const Problem& problem, const GridTables& tables, double coupling_hz) {
  constexpr std::size_t points = grid_overdrive_db.size();
  const auto through = [&](double k) {
    return 1.0 / std::complex<double>(1.0, -coupling_hz / (k * problem.fundamental_hz));
  };
  const double turn = std::arg(problem.harmonic[1]) - std::arg(through(1.0));
  double fixed = 0.0;
  std::array<double, points> with_up{}, with_down{};
  std::array<std::array<double, points>, points> same{}, crossed{};
  for (std::size_t n = 2; n <= problem.orders; ++n) {
    const double k = static_cast<double>(n);
    const double side = n % 2 == 0 ? 1.0 : -1.0;
    const std::complex<double> chain = through(k) * std::polar(1.0, k * turn);
    const double weight = problem.weight[n] * problem.weight[n];
    const double data = weight * (std::conj(chain) * problem.harmonic[n]).real();
    const double power = weight * std::norm(chain);
    fixed += weight * std::norm(problem.harmonic[n]);
    for (std::size_t i = 0; i < points; ++i) {
      const double e = tables.excess[i][n];
      with_up[i] -= data * e;
      with_down[i] += side * data * e;
      for (std::size_t j = 0; j <= i; ++j) {
        const double product = power * e * tables.excess[j][n];
        same[i][j] += product;
        crossed[i][j] += side * product;
      }
    }
  }
  const double level = std::abs(problem.harmonic[1]) / std::abs(through(1.0));
  Candidate best;
  best.cost = 1e300;
  best.without_rails = fixed;
  for (std::size_t up = 0; up < points; ++up) {
    for (std::size_t down = 0; down < points; ++down) {
      const double a = level / (1.0 - tables.excess[up][1] - tables.excess[down][1]);
      const double mixed = crossed[std::max(up, down)][std::min(up, down)];
      const double cost = fixed - 2.0 * a * (with_up[up] + with_down[down]) +
                          a * a * (same[up][up] + same[down][down] - 2.0 * mixed);
      if (cost >= best.cost) continue;
      best.cost = cost;
      best.at[amplitude] = a;
      best.at[phase] = turn;
      best.at[rail_positive] = std::pow(tables.angle[up], 3);
      best.at[rail_negative] = std::pow(tables.angle[down], 3);
      best.at[coupling] = coupling_hz;
    }
  }
  return best;
}

/// Candidates of the grid, one per coupling, best first.
using Candidates = std::array<Candidate, grid_coupling_hz.size()>;
Candidates candidates_of(const Problem& problem) {
  const GridTables tables = grid_tables(problem.orders);
  Candidates candidates;
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    candidates[i] = best_on_grid(problem, tables, grid_coupling_hz[i]);
  }
  std::sort(candidates.begin(), candidates.end(),
            [](const Candidate& a, const Candidate& b) { return a.cost < b.cost; });
  return candidates;
}

/// A sine without rails: what is left when the harmonics are the noise's.
Outcome sine_fit(const Problem& problem) {
  Outcome outcome;
  outcome.problem = problem;
  outcome.shape = shape_of({amplitude, phase, coupling});
  Parameters start{};
  start[amplitude] = std::abs(problem.harmonic[1]);
  start[phase] = std::arg(problem.harmonic[1]);
  outcome.fit = minimise(problem, outcome.shape, start);
  return outcome;
}

/// Roughly from the candidates, at least three, and on until one explains the harmonics; then fully
/// from the best.
Fit search(const Problem& problem, const Shape& shape, const Candidates& candidates) {
  constexpr std::size_t least_starts = 3;
  Fit best;
  best.objective = 1e300;
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    if (i >= least_starts && explains(best)) break;
    const Fit fit = minimise(problem, shape, candidates[i].at, rough);
    if (fit.objective < best.objective) best = fit;
  }
  return minimise(problem, shape, best.at);
}

Shape without(Shape shape, Parameter rail) {
  shape.free[rail] = false;
  (rail == rail_positive ? shape.positive : shape.negative) = false;
  return shape;
}

Parameters start_without(Parameters at, Parameter rail, const Shape& shape) {
  at[rail] = shape.with_knee ? 1.0 : 0.0;
  return at;
}

/// How far a rail's effect is above the misfit; 0 if the fit has it the wrong way round.
double significance_of(const Outcome& outcome, Parameter rail, Fit& reduced) {
  reduced = minimise(outcome.problem, without(outcome.shape, rail),
                     start_without(outcome.fit.at, rail, outcome.shape), fair);
  const double gain = (reduced.chi_squared - outcome.fit.chi_squared) / variance_scale(outcome.fit);
  if (!outcome.shape.with_knee && outcome.fit.at[rail] <= 0.0) return 0.0;
  return std::sqrt(std::max(gain, 0.0));
}

/// Takes away the rails that the harmonics do not call for, the weaker one first.
void prune(Outcome& outcome) {
  while (outcome.shape.positive || outcome.shape.negative) {
    Parameter weakest = rail_positive;
    double least = 1e300;
    Fit weakest_fit;
    for (const Parameter rail : {rail_positive, rail_negative}) {
      if (!(rail == rail_positive ? outcome.shape.positive : outcome.shape.negative)) continue;
      Fit reduced;
      const double value = significance_of(outcome, rail, reduced);
      outcome.significance[rail == rail_positive ? 0 : 1] = value;
      if (value < least) {
        least = value;
        weakest = rail;
        weakest_fit = reduced;
      }
    }
    if (least >= significant) return;
    outcome.shape = without(outcome.shape, weakest);
    outcome.fit = minimise(outcome.problem, outcome.shape, weakest_fit.at);
  }
}

Outcome hard_fit(const Problem& problem) {
  const Candidates candidates = candidates_of(problem);
  // No rail gains a 4-sigma effect even on the grid, which lies within a few per cent of any clip's
  // harmonics: it need not be searched.
  constexpr double trace = 16.0;
  const bool nothing = candidates[0].without_rails - candidates[0].cost < trace;
  Outcome outcome = sine_fit(problem);
  if (nothing && explains(outcome.fit)) return outcome;
  outcome.shape = shape_of({amplitude, phase, rail_positive, rail_negative, coupling});
  outcome.fit = search(problem, outcome.shape, candidates);
  prune(outcome);
  return outcome;
}

/// The hard clip with more freedom in the chain behind it, started from a hard fit.
Outcome extended_fit(const Outcome& hard, ClipModel model) {
  Outcome outcome = hard;
  outcome.model = model;
  outcome.shape = shape_of({amplitude, phase, rail_positive, rail_negative, coupling});
  if (model == ClipModel::hard_two_poles) outcome.shape.free[coupling_pair] = true;
  if (model == ClipModel::hard_low_pass) {
    outcome.shape.free[low_pass] = outcome.shape.free[dispersion] = true;
  }
  outcome.fit = minimise(hard.problem, outcome.shape, hard.fit.at);
  prune(outcome);
  return outcome;
}

Outcome knee_fit(const Outcome& hard) {
  Outcome best = hard;
  best.model = ClipModel::soft_knee;
  best.shape = shape_of({amplitude, phase, rail_positive, rail_negative, coupling, knee});
  best.fit.objective = 1e300;
  Parameters start = hard.fit.at;
  for (const Parameter rail : {rail_positive, rail_negative}) {
    start[rail] = std::cos(std::cbrt(std::max(start[rail], 0.0)));
  }
  for (const double width : {0.015, 0.1}) {
    start[knee] = width;
    const Fit fit = minimise(hard.problem, best.shape, start, fair);
    if (fit.objective < best.fit.objective) best.fit = fit;
  }
  best.fit = minimise(best.problem, best.shape, best.fit.at);
  prune(best);
  return best;
}

/// Akaike's criterion: the misfit, with 2 for every parameter spent.
double price(const Outcome& o) {
  return o.fit.chi_squared +
         2.0 * static_cast<double>(std::count(o.shape.free.begin(), o.shape.free.end(), true));
}

/// Where an anti-alias low-pass of 10 kHz or more is still gentle enough for the two terms that
/// model it.
constexpr double trusted_hz = 9000.0;

double overdrive_variance(const Outcome& o) {
  double sum = 0.0;
  for (const Parameter rail : {rail_positive, rail_negative}) sum += o.fit.covariance[rail][rail];
  return sum * variance_scale(o.fit);
}

/// The orders over which a model is chosen, when the simplest fails: as many as an unknown low-pass
/// leaves alone, if those are enough.
double choosing_band(const HarmonicSeries& tone, double highest_hz) {
  constexpr double least_orders = 7.0;
  for (const double band : {trusted_hz, 0.72 * highest_hz}) {
    if (band < highest_hz && band >= least_orders * tone.fundamental.value()) return band;
  }
  return highest_hz;
}

/// Whether a model adds anything here: a second coupling pole is seen up to a few hundred hertz (at
/// 600 Hz, 20 Hz turn the second harmonic by 1°), a low-pass from a few kilohertz.
bool worth_trying(ClipModel model, const Outcome& hard) {
  constexpr double highest_coupled_hz = 600.0;
  constexpr double lowest_filtered_hz = 4000.0;
  const Problem& problem = hard.problem;
  const bool rails = hard.shape.positive || hard.shape.negative;
  const double top_hz = static_cast<double>(problem.orders) * problem.fundamental_hz;
  if (model == ClipModel::hard_two_poles)
    return rails && problem.fundamental_hz < highest_coupled_hz;
  if (model == ClipModel::hard_low_pass) return rails && top_hz > lowest_filtered_hz;
  return true;
}

Outcome extended(const Outcome& hard, ClipModel model) {
  return model == ClipModel::soft_knee ? knee_fit(hard) : extended_fit(hard, model);
}

Outcome fit_model(const Problem& problem, ClipModel model) {
  const Outcome hard = hard_fit(problem);
  if (model == ClipModel::hard || model == ClipModel::sine) return hard;
  return extended(hard, model);
}

/// Leaves out, one after the other, up to three orders on which most of the misfit lies: a whine or
/// hum at the frequency of a harmonic is no part of the waveform.
/// \returns the fit without them if that explains the rest, down to the noise or to a hundredth of
/// the misfit (such a line leaks a little into all orders), else the fit it was given
Outcome without_foreign_lines(const Outcome& fitted) {
  constexpr int most_lines = 3;
  constexpr std::size_t orders_to_spare = 12;
  constexpr double concentrated = 0.3;
  constexpr double leaked = 0.01;
  if (explains(fitted.fit) || fitted.problem.orders < orders_to_spare) return fitted;
  Outcome outcome = fitted;
  for (int line = 0; line < most_lines; ++line) {
    const ByOrder chi = chi_squared_by_order(outcome.problem, outcome.shape, outcome.fit.at);
    const auto worst = std::max_element(chi.left.begin() + 2, chi.left.end());
    if (*worst < concentrated * outcome.fit.chi_squared) break;
    Problem rest = outcome.problem;
    rest.weight[static_cast<std::size_t>(worst - chi.left.begin())] = 0.0;
    outcome = hard_fit(rest);
    if (explains(outcome.fit)) return outcome;
  }
  return reduced_chi(outcome.fit) < leaked * reduced_chi(fitted.fit) ? outcome : fitted;
}

}  // namespace

Outcome best_outcome(const HarmonicSeries& tone, double highest_hz) {
  const Problem whole = problem_of(tone, highest_hz);
  const Outcome simplest = without_foreign_lines(hard_fit(whole));
  if (explains(simplest.fit)) return simplest;
  const double band = choosing_band(tone, highest_hz);
  const Problem trusted = problem_of(tone, band);
  Outcome best = trusted.orders == whole.orders ? simplest : hard_fit(trusted);
  const Outcome hard = best;
  for (const ClipModel model :
       {ClipModel::hard_two_poles, ClipModel::hard_low_pass, ClipModel::soft_knee}) {
    if (!worth_trying(model, hard)) continue;
    const Outcome other = extended(hard, model);
    if (price(other) < price(best)) best = other;
  }
  if (trusted.orders == whole.orders) return best;
  for (const double wider : {0.72 * highest_hz, highest_hz}) {
    const Outcome other = fit_model(problem_of(tone, wider), best.model);
    if (other.problem.orders > best.problem.orders &&
        overdrive_variance(other) < overdrive_variance(best))
      best = other;
  }
  return best;
}

}  // namespace railtap::measure::clip
