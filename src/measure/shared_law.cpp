// SPDX-License-Identifier: MIT
// One law for a tone at several levels: a stage with a knee at either rail, behind a control that
// is turned. Bottom up: the law and what it makes of a sine, a tone as it is seen in a block over
// which it moves, the fit to all blocks.
#include "measure/shared_law.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <utility>
#include <vector>

#include "measure/kernels.hpp"
#include "measure/static_law.hpp"

namespace railtap::measure {

// A law whose slope falls from one to nothing at either rail.

namespace {

using std::numbers::pi;

// Amplitudes re the rail that are in the table, ln of the ratio, and their distance.
constexpr double first_ln = -2.763;  // −24 dB: a knee with a sharpness of 3 takes 0.03 % there
constexpr double step_ln = 0.01727;  // 0.15 dB
constexpr std::size_t rows = 261;    // up to 15 dB
constexpr std::size_t angles = 128;  // over a quarter of a cycle

// Inputs re the rail at which the law is known, and straight lines between them.
constexpr double input_step = 0.0025;
constexpr double highest_input = 5.65;  // a little over 15 dB

// D(x) = x − f(x), by the trapezoidal rule.
std::vector<double> taken_by(const KneeShape& shape) {
  const auto count = static_cast<std::size_t>(highest_input / input_step) + 2;
  std::vector<double> taken(count, 0.0);
  double before = 0.0;
  for (std::size_t i = 1; i < count; ++i) {
    const double x = input_step * static_cast<double>(i);
    const double lost = 1.0 - std::pow(1.0 + std::pow(x, shape.sharpness), -shape.depth);
    taken[i] = taken[i - 1] + 0.5 * input_step * (lost + before);
    before = lost;
  }
  return taken;
}

using Quarter = std::array<double, angles>;

// cos kθ for k = 0 … most_orders in the middles of equal parts of a quarter of a cycle.
const std::vector<Quarter>& cosines() {
  static const std::vector<Quarter> table = [] {
    std::vector<Quarter> values(KneeTable::most_orders + 1);
    for (std::size_t k = 0; k < values.size(); ++k) {
      for (std::size_t n = 0; n < angles; ++n) {
        const double angle = 0.5 * pi * (static_cast<double>(n) + 0.5) / double{angles};
        values[k][n] = std::cos(static_cast<double>(k) * angle);
      }
    }
    return values;
  }();
  return table;
}

RAILTAP_VECTORIZE double product(const Quarter& a, const Quarter& b) {
  double sum = 0.0;
#pragma omp simd reduction(+ : sum)
  for (std::size_t n = 0; n < angles; ++n) sum += a[n] * b[n];
  return sum / double{angles};
}

}  // namespace

double KneeShape::input_at(double slope) const {
  return std::pow(std::pow(slope, -1.0 / depth) - 1.0, 1.0 / sharpness);
}

KneeTable::KneeTable(const KneeShape& shape, std::size_t orders)
    : orders_(std::clamp<std::size_t>(orders, 1, most_orders)), rows_(rows * orders_) {
  const std::vector<double> taken = taken_by(shape);
  const auto& cosine = cosines();
  Quarter piece;
  for (std::size_t row = 0; row < rows; ++row) {
    const double amplitude = std::exp(first_ln + step_ln * static_cast<double>(row));
    for (std::size_t n = 0; n < angles; ++n) {
      const double place = std::min(amplitude * cosine[1][n], highest_input) / input_step;
      const auto i = static_cast<std::size_t>(place);
      piece[n] = taken[i] + (place - static_cast<double>(i)) * (taken[i + 1] - taken[i]);
    }
    for (std::size_t k = 1; k <= orders_; ++k) {
      rows_[row * orders_ + k - 1] = product(piece, cosine[k]);
    }
  }
}

void KneeTable::at(double ln_amplitude, double* taken) const {
  const double place = std::clamp((ln_amplitude - first_ln) / step_ln, 0.0, double{rows - 1});
  // Cubics through four neighbours, with the slopes of Catmull and Rom.
  const auto i = std::clamp<std::size_t>(static_cast<std::size_t>(place), 1, rows - 3);
  const double t = place - static_cast<double>(i);
  const double w0 = 0.5 * t * (t * (2.0 - t) - 1.0);
  const double w1 = 0.5 * (t * t * (3.0 * t - 5.0) + 2.0);
  const double w2 = 0.5 * t * (t * (4.0 - 3.0 * t) + 1.0);
  const double w3 = 0.5 * t * t * (t - 1.0);
  const double* row = rows_.data() + (i - 1) * orders_;
  for (std::size_t k = 0; k < orders_; ++k) {
    taken[k] =
        w0 * row[k] + w1 * row[orders_ + k] + w2 * row[2 * orders_ + k] + w3 * row[3 * orders_ + k];
  }
}

// A tone behind a stage with a knee at each rail, as it is seen in a block over which it moves.

namespace {

// Gauss-Legendre on −1 … 1 [Abramowitz and Stegun, table 25.4, n = 8].
struct Node {
  double at, weight;
};
constexpr std::array<Node, 8> nodes{{{-0.960289856497536, 0.101228536290376},
                                     {-0.796666477413627, 0.222381034453374},
                                     {-0.525532409916329, 0.313706645877887},
                                     {-0.183434642495650, 0.362683783378362},
                                     {0.183434642495650, 0.362683783378362},
                                     {0.525532409916329, 0.313706645877887},
                                     {0.796666477413627, 0.222381034453374},
                                     {0.960289856497536, 0.101228536290376}}};

}  // namespace

void KneeStage::harmonics_at(double ln_input, LawHarmonics& harmonics) const {
  LawHarmonics by_negative;
  table.at(ln_input - std::log(positive), harmonics.data());
  table.at(ln_input - std::log(negative), by_negative.data());
  for (std::size_t k = 1; k <= table.orders(); ++k) {
    const double sign = k % 2 == 0 ? 1.0 : -1.0;
    harmonics[k - 1] = sign * negative * by_negative[k - 1] - positive * harmonics[k - 1];
  }
  harmonics[0] += std::exp(ln_input);
}

FittedTone::FittedTone(const LawTone& tone, Hertz coupling) {
  const HarmonicSeries& series = *tone.series;
  orders_ = std::min({tone.orders, KneeTable::most_orders, series.phasor.size()});
  for (std::size_t k = 0; k < orders_; ++k) {
    measured_[k] = before_coupling(series, k + 1, coupling).real();
    const double open = k == 0 ? 0.0 : response_share * std::abs(measured_[k]);
    sigma_[k] = std::hypot(series.sigma[k], own_share * measured_[0], open);
  }
  rise_ = input_rise_ = tone.rise_db * std::numbers::ln10 / 20.0;
  ln_input_ = std::log(measured_[0]);
}

// A parabola through the block has the value Σ w·h with w = (3/8)·(3 − 5u²) in the middle, and the
// slope (3/2)·Σ u·h (Legendre's polynomials of order 0 to 2).
FittedTone::Seen FittedTone::seen(const KneeStage& stage, double ln_input) const {
  Seen result;
  if (input_rise_ == 0.0) {
    stage.harmonics_at(ln_input, result.middle);
    return result;
  }
  LawHarmonics here;
  for (const Node& node : nodes) {
    stage.harmonics_at(ln_input + 0.5 * node.at * input_rise_, here);
    const double weight = 0.375 * (3.0 - 5.0 * node.at * node.at) * node.weight;
    for (std::size_t k = 0; k < stage.table.orders(); ++k) result.middle[k] += weight * here[k];
    result.half_rise += 1.5 * node.at * node.weight * here[0];
  }
  return result;
}

// The input rises by more than the fundamental where that is held by a rail.
void FittedTone::find_rise(const Seen& now) {
  constexpr double most_rise = 1.2;    // 10 dB, ln
  constexpr double most_change = 2.0;  // at once, either way
  if (input_rise_ == 0.0) return;
  const double ratio = rise_ * now.middle[0] / (2.0 * now.half_rise);
  if (!std::isfinite(ratio) || ratio <= 0.0) return;
  const double change = std::clamp(ratio, 1.0 / most_change, most_change);
  input_rise_ = std::clamp(input_rise_ * change, -most_rise, most_rise);
}

// Newton's method on the fundamental, which rises with the input.
void FittedTone::find_input(const KneeStage& stage) {
  constexpr int rounds = 6;
  constexpr int rise_rounds = 4;
  constexpr double probe = 0.005;
  constexpr double least_slope = 0.02;
  constexpr double most_move = 0.4;
  constexpr double close = 1e-7;
  constexpr double most_over = 1.7;  // the table's 15 dB, ln
  const double highest = std::log(std::max(stage.positive, stage.negative)) + most_over;
  const double wanted = std::log(measured_[0]);
  for (int round = 0; round < rounds; ++round) {
    if (round < rise_rounds) find_rise(seen(stage, ln_input_));
    const double here = std::log(seen(stage, ln_input_).middle[0]);
    const double slope = (std::log(seen(stage, ln_input_ + probe).middle[0]) - here) / probe;
    const double move = (wanted - here) / std::max(slope, least_slope);
    ln_input_ = std::min(ln_input_ + std::clamp(move, -most_move, most_move), highest);
    if (std::abs(move) < close) return;
  }
}

void FittedTone::add_residuals(const KneeStage& stage, std::vector<double>& residuals) {
  constexpr double probe = 0.01;
  constexpr double least_rise = 1e-9;
  find_input(stage);
  const Seen now = seen(stage, ln_input_);
  const Seen moved = seen(stage, ln_input_ + probe);
  const double rise = std::max(moved.middle[0] - now.middle[0], least_rise);
  for (std::size_t k = 0; k < orders_; ++k) {
    const double by_input = k == 0 ? 0.0 : (moved.middle[k] - now.middle[k]) / rise * sigma_[0];
    residuals.push_back((measured_[k] - now.middle[k]) / std::hypot(sigma_[k], by_input));
  }
}

// One law for a tone at several levels, by least squares.

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
