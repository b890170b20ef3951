// SPDX-License-Identifier: MIT
// One law for a tone at several levels, by least squares.
#include "measure/shared_law.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <utility>
#include <vector>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

constexpr std::size_t parameters = SharedLaw::parameters;
constexpr std::size_t rails = 2;  // the first of the parameters
using Parameters = std::array<double, parameters>;
enum : std::size_t { ln_positive, ln_negative, ln_sharpness, ln_depth };

const double db_per_ln = 20.0 / std::numbers::ln10;

// So hard a knee is a corner: its flat level is 0.02 dB above the rail.
constexpr double corner_sharpness = 1000.0;
// A knee that is harder than this, 0.1 dB, is not told from what an uneven movement leaves of a
// corner (trials).
constexpr double hard_sharpness = 200.0;
constexpr double least_sharpness = 1.5;
constexpr double most_ln_depth = 1.5;

// Few harmonics say little of the depth, so it is held near that of the usual knees, 1 to 1.4.
constexpr double usual_ln_depth = 0.1;
constexpr double ln_depth_sigma = 0.25;

// --- the coupling

// What has the phase of a memory, Σ in units of its variance.
double quadrature(std::span<const LawTone> tones, Hertz corner) {
  double sum = 0.0;
  for (const LawTone& tone : tones) {
    const HarmonicSeries& series = *tone.series;
    const double own = own_share * std::abs(series.phasor[0]);
    const auto orders = std::min({tone.orders, KneeTable::most_orders, series.phasor.size()});
    for (std::size_t k = 2; k <= orders; ++k) {
      const auto harmonic = before_coupling(series, k, corner);
      const double open = response_share * std::abs(harmonic);
      sum += std::norm(harmonic.imag() / std::hypot(series.sigma[k - 1], own, open));
    }
  }
  return sum;
}

Hertz coupling_of(std::span<const LawTone> tones) {
  constexpr double highest_hz = 40.0;
  constexpr int points = 20;
  constexpr int rounds = 3;
  double low = 0.0;
  double high = highest_hz;
  double best = 0.0;
  for (int round = 0; round < rounds; ++round) {
    double least = std::numeric_limits<double>::infinity();
    const double step = (high - low) / points;
    for (int i = 0; i <= points; ++i) {
      const double value = quadrature(tones, Hertz(low + step * i));
      if (value >= least) continue;
      least = value;
      best = low + step * i;
    }
    low = std::max(0.0, best - step);
    high = best + step;
  }
  return Hertz(best);
}

// --- the fit

struct Problem {
  std::size_t orders = 1;
  std::size_t free = parameters;  // the first ones; the others are held
};

struct Solution {
  Parameters at{};
  std::vector<FittedTone> tones;  // with their inputs
  std::vector<double> residuals;
  double squares = std::numeric_limits<double>::infinity();
  std::vector<double> normal;  // JᵀJ
};

void work_out(const Problem& problem, Solution& solution) {
  const Parameters& at = solution.at;
  const KneeShape shape{std::exp(at[ln_sharpness]), std::exp(at[ln_depth])};
  const KneeStage stage{std::exp(at[ln_positive]), std::exp(at[ln_negative]),
                        KneeTable(shape, problem.orders)};
  solution.residuals.clear();
  for (FittedTone& tone : solution.tones) tone.add_residuals(stage, solution.residuals);
  solution.residuals.push_back((at[ln_depth] - usual_ln_depth) / ln_depth_sigma);
  solution.squares = 0.0;
  for (const double value : solution.residuals) solution.squares += value * value;
}

// By finite differences.
std::vector<std::vector<double>> slopes_at(const Problem& problem, const Solution& here) {
  constexpr Parameters probe{0.002, 0.002, -0.02, 0.02};
  std::vector<std::vector<double>> columns;
  for (std::size_t p = 0; p < problem.free; ++p) {
    Solution moved = here;
    moved.at[p] += probe[p];
    work_out(problem, moved);
    for (std::size_t i = 0; i < here.residuals.size(); ++i) {
      moved.residuals[i] = (moved.residuals[i] - here.residuals[i]) / probe[p];
    }
    columns.push_back(std::move(moved.residuals));
  }
  return columns;
}

double product(const std::vector<double>& a, const std::vector<double>& b) {
  double sum = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) sum += a[i] * b[i];
  return sum;
}

// What keeps a parameter that nothing depends on from making the matrix singular.
constexpr double ridge = 1e-6;

Parameters moved_by(const Parameters& at, const std::vector<double>& move) {
  constexpr Parameters most{0.3, 0.3, 0.8, 0.4};  // at once
  Parameters next = at;
  for (std::size_t p = 0; p < move.size(); ++p) next[p] += std::clamp(move[p], -most[p], most[p]);
  next[ln_sharpness] =
      std::clamp(next[ln_sharpness], std::log(least_sharpness), std::log(corner_sharpness));
  next[ln_depth] = std::clamp(next[ln_depth], -most_ln_depth, most_ln_depth);
  return next;
}

// One round: sets the normal matrix, and moves to where the squares are lower.
// \returns by how much they are, 0 where no move lowers them
double lower(const Problem& problem, Solution& here, double& damping) {
  constexpr int attempts = 6;
  constexpr double relax = 0.2;
  constexpr double tighten = 6.0;
  const std::size_t n = problem.free;
  const auto columns = slopes_at(problem, here);
  here.normal.assign(n * n, 0.0);
  std::vector<double> gradient(n);
  for (std::size_t p = 0; p < n; ++p) {
    gradient[p] = -product(columns[p], here.residuals);
    for (std::size_t q = 0; q < n; ++q) here.normal[p * n + q] = product(columns[p], columns[q]);
  }
  for (int attempt = 0; attempt < attempts; ++attempt) {
    std::vector<double> matrix = here.normal;
    std::vector<double> move = gradient;
    for (std::size_t p = 0; p < n; ++p) matrix[p * n + p] += damping * matrix[p * n + p] + ridge;
    solve_symmetric(matrix, move, n);
    Solution next = here;
    next.at = moved_by(here.at, move);
    work_out(problem, next);
    const double gained = here.squares - next.squares;
    damping *= gained > 0.0 ? relax : tighten;
    if (!(gained > 0.0)) continue;
    here = std::move(next);
    return gained;
  }
  return 0.0;
}

// Levenberg-Marquardt [D. W. Marquardt, J. SIAM 11 (1963), p. 431].
Solution descend(const Problem& problem, const Parameters& start,
                 const std::vector<FittedTone>& tones) {
  constexpr int most_rounds = 12;
  constexpr double enough = 1e-3;  // of the squares
  constexpr double first_damping = 1e-2;
  Solution solution;
  solution.at = start;
  solution.tones = tones;
  work_out(problem, solution);
  double damping = first_damping;
  for (int round = 0; round < most_rounds; ++round) {
    if (lower(problem, solution, damping) < enough) break;
  }
  return solution;
}

// From a soft, a middle and a hard knee at the highest crests.
Solution best_knee(const Problem& problem, const Crests& crests,
                   const std::vector<FittedTone>& tones) {
  constexpr std::array<double, 3> sharpness{4.0, 15.0, 80.0};
  Solution best;
  for (const double start : sharpness) {
    Solution found = descend(
        problem,
        {std::log(crests.positive), std::log(crests.negative), std::log(start), usual_ln_depth},
        tones);
    if (found.squares < best.squares) best = std::move(found);
  }
  return best;
}

// The corners nearest to a knee.
Solution nearest_corner(Problem problem, const Solution& knee) {
  Parameters start = knee.at;
  start[ln_sharpness] = std::log(corner_sharpness);
  start[ln_depth] = usual_ln_depth;
  problem.free = rails;
  return descend(problem, start, knee.tones);
}

// The squares rise by less than what two parameters more take by chance, once in twenty.
bool is_as_likely(const Solution& corner, const Solution& knee) {
  constexpr double by_chance =
      6.0;  // χ² of two degrees of freedom [Abramowitz, Stegun, table 26.8]
  const double unit = knee.squares / static_cast<double>(knee.residuals.size());
  return knee.at[ln_sharpness] > std::log(hard_sharpness) ||
         corner.squares - knee.squares < by_chance * unit;
}

void take(const Solution& solution, std::size_t free, SharedLaw& law) {
  law.at = solution.at;
  law.misfit = std::sqrt(solution.squares / static_cast<double>(solution.residuals.size()));
  const double factor = std::max(1.0, law.misfit * law.misfit);
  for (std::size_t p = 0; p < free; ++p) {
    std::vector<double> matrix = solution.normal;
    std::vector<double> unit(free, 0.0);
    unit[p] = factor;
    for (std::size_t q = 0; q < free; ++q) matrix[q * free + q] += ridge;
    solve_symmetric(matrix, unit, free);
    for (std::size_t q = 0; q < free; ++q) law.covariance[p * parameters + q] = unit[q];
  }
  for (const FittedTone& tone : solution.tones) {
    law.highest_input = std::max(law.highest_input, std::exp(tone.ln_input()));
  }
}

Crests highest_crests(std::span<const LawTone> tones, Hertz coupling) {
  Crests highest;
  for (const LawTone& tone : tones) {
    const Crests here = crests_of(*tone.series, tone.orders, coupling);
    highest.positive = std::max(highest.positive, here.positive);
    highest.negative = std::max(highest.negative, here.negative);
  }
  return highest;
}

}  // namespace

double SharedLaw::positive() const {
  return std::exp(at[ln_positive]);
}

double SharedLaw::negative() const {
  return std::exp(at[ln_negative]);
}

KneeShape SharedLaw::shape() const {
  return {std::exp(at[ln_sharpness]), std::exp(at[ln_depth])};
}

std::optional<SharedLaw> fit_shared_law(std::span<const LawTone> given) {
  constexpr std::size_t least_tones = 3;
  if (given.size() < least_tones) return std::nullopt;
  SharedLaw law;
  law.fundamental = given.front().series->fundamental;
  law.coupling = coupling_of(given);
  const Crests crests = highest_crests(given, law.coupling);
  if (!(crests.positive > 0.0 && crests.negative > 0.0)) return std::nullopt;
  Problem problem;
  std::vector<FittedTone> tones;
  for (const LawTone& tone : given) {
    tones.emplace_back(tone, law.coupling);
    problem.orders = std::max(problem.orders, tones.back().orders());
  }
  const Solution knee = best_knee(problem, crests, tones);
  if (knee.normal.empty()) return std::nullopt;
  const Solution corner = nearest_corner(problem, knee);
  law.corner = is_as_likely(corner, knee);
  take(law.corner ? corner : knee, law.corner ? rails : parameters, law);
  if (law.corner) {
    constexpr double flat = 0.1;  // any slope that is nearly none
    const SharedLaw other{.at = knee.at};
    law.knee_db = db_per_ln * std::log(input_at_slope(other, flat) / input_at_slope(law, flat));
  }
  return law;
}

SharedLawOutput::SharedLawOutput(const SharedLaw& law, std::size_t orders)
    : stage_{law.positive(), law.negative(), KneeTable(law.shape(), orders)},
      corner_re_fundamental_(law.coupling / law.fundamental) {}

LawOutput SharedLawOutput::at(double amplitude) const {
  LawHarmonics harmonics;
  stage_.harmonics_at(std::log(amplitude), harmonics);
  LawOutput output;
  for (std::size_t k = 1; k <= stage_.table.orders(); ++k) {
    const double corner = corner_re_fundamental_ / static_cast<double>(k);
    (k == 1 ? output.fundamental : output.harmonics) +=
        0.5 * harmonics[k - 1] * harmonics[k - 1] / (1.0 + corner * corner);
  }
  return output;
}

double input_at_slope(const SharedLaw& law, double slope) {
  const double rail = std::min(law.positive(), law.negative());
  return law.corner ? rail : rail * law.shape().input_at(slope);
}

}  // namespace railtap::measure
