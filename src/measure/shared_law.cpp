// SPDX-License-Identifier: MIT
// One law for a tone at several levels: a stage with a knee at either rail, behind a control that
// is turned. Bottom up: the law and what it makes of a sine, a tone as it is seen in a block over
// which it moves, the fit to all blocks.
#include "measure/shared_law.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <deque>
#include <initializer_list>
#include <limits>
#include <memory>
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
  constexpr double nothing = 1e-12;
  const auto count = static_cast<std::size_t>(highest_input / input_step) + 2;
  std::vector<double> taken(count, 0.0);
  double before = 0.0;
  for (std::size_t i = 1; i < count; ++i) {
    const double x = input_step * static_cast<double>(i);
    const bool over = 1.0 - before < nothing;  // it only falls
    const double lost = over ? 1.0 : 1.0 - shape.slope_at(x);
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

double KneeShape::slope_at(double x) const {
  constexpr double no_tail = 1e-3;  // the limit, 2^(−x^sharpness), is as close as that
  const double power = std::pow(std::max(0.0, x - straight) / (1.0 - straight), sharpness);
  if (std::abs(tail) < no_tail) return std::exp2(-power);
  const double base = 1.0 + std::expm1(tail * std::numbers::ln2) * power;
  return base > 0.0 ? std::pow(base, -1.0 / tail) : 0.0;
}

KneeTable::KneeTable(const KneeShape& shape, std::size_t orders)
    : orders_(std::clamp<std::size_t>(orders, 1, most_orders)),
      law_(taken_by(shape)),
      rows_(rows * orders_),
      known_(rows) {}

const double* KneeTable::row(std::size_t index) {
  constexpr double nothing = 1e-12;
  double* values = rows_.data() + index * orders_;
  if (known_[index]) return values;
  known_[index] = true;
  const auto& cosine = cosines();
  const double amplitude = std::exp(first_ln + step_ln * static_cast<double>(index));
  const auto taken = [&](double x) {
    const double place = std::min(x, highest_input) / input_step;
    const auto i = static_cast<std::size_t>(place);
    return law_[i] + (place - static_cast<double>(i)) * (law_[i + 1] - law_[i]);
  };
  if (taken(amplitude) < nothing) return values;
  Quarter piece;
  for (std::size_t n = 0; n < angles; ++n) piece[n] = taken(amplitude * cosine[1][n]);
  for (std::size_t k = 1; k <= orders_; ++k) values[k - 1] = product(piece, cosine[k]);
  return values;
}

void KneeTable::at(double ln_amplitude, double* taken, std::size_t count) {
  const double place = std::clamp((ln_amplitude - first_ln) / step_ln, 0.0, double{rows - 1});
  // Cubics through four neighbours, with the slopes of Catmull and Rom.
  const auto i = std::clamp<std::size_t>(static_cast<std::size_t>(place), 1, rows - 3);
  const double t = place - static_cast<double>(i);
  const double w0 = 0.5 * t * (t * (2.0 - t) - 1.0);
  const double w1 = 0.5 * (t * t * (3.0 * t - 5.0) + 2.0);
  const double w2 = 0.5 * t * (t * (4.0 - 3.0 * t) + 1.0);
  const double w3 = 0.5 * t * t * (t - 1.0);
  const double* r0 = row(i - 1);
  const double* r1 = row(i);
  const double* r2 = row(i + 1);
  const double* r3 = row(i + 2);
  for (std::size_t k = 0; k < count; ++k)
    taken[k] = w0 * r0[k] + w1 * r1[k] + w2 * r2[k] + w3 * r3[k];
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
  LawHarmonics odd{}, even{}, taken;
  const auto add = [&](const LawKnee& knee, double sign) {
    knee.table->at(ln_input - knee.ln_rail, taken.data(), orders);
    for (std::size_t k = 0; k < orders; ++k) {
      odd[k] += knee.height * taken[k];
      even[k] += sign * knee.height * taken[k];
    }
  };
  for (const LawKnee& knee : positive) add(knee, 1.0);
  for (const LawKnee& knee : negative) add(knee, -1.0);
  for (std::size_t k = 0; k < orders; ++k) harmonics[k] = k % 2 == 0 ? -odd[k] : -even[k];
  harmonics[0] += std::exp(ln_input);
}

double KneeStage::fundamental_at(double ln_input) const {
  double fundamental = std::exp(ln_input);
  for (const auto* side : {&positive, &negative}) {
    for (const LawKnee& knee : *side) {
      double taken = 0.0;
      knee.table->at(ln_input - knee.ln_rail, &taken, 1);
      fundamental -= knee.height * taken;
    }
  }
  return fundamental;
}

double KneeStage::ln_highest_rail() const {
  double highest = positive.front().ln_rail;
  for (const auto* side : {&positive, &negative})
    for (const LawKnee& knee : *side) highest = std::max(highest, knee.ln_rail);
  return highest;
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
namespace {

double middle_weight(const Node& node) {
  return 0.375 * (3.0 - 5.0 * node.at * node.at) * node.weight;
}

}  // namespace

LawHarmonics FittedTone::seen(const KneeStage& stage, double ln_input) const {
  LawHarmonics middle{};
  if (input_rise_ == 0.0) {
    stage.harmonics_at(ln_input, middle);
    return middle;
  }
  LawHarmonics here;
  for (const Node& node : nodes) {
    stage.harmonics_at(ln_input + 0.5 * node.at * input_rise_, here);
    const double weight = middle_weight(node);
    for (std::size_t k = 0; k < stage.orders; ++k) middle[k] += weight * here[k];
  }
  return middle;
}

FittedTone::Fundamental FittedTone::seen_fundamental(const KneeStage& stage,
                                                     double ln_input) const {
  if (input_rise_ == 0.0) return {stage.fundamental_at(ln_input), 0.0};
  Fundamental result;
  for (const Node& node : nodes) {
    const double here = stage.fundamental_at(ln_input + 0.5 * node.at * input_rise_);
    result.middle += middle_weight(node) * here;
    result.half_rise += 1.5 * node.at * node.weight * here;
  }
  return result;
}

// The input rises by more than the fundamental where that is held by a rail.
void FittedTone::find_rise(const Fundamental& now) {
  constexpr double most_rise = 1.2;    // 10 dB, ln
  constexpr double most_change = 2.0;  // at once, either way
  if (input_rise_ == 0.0) return;
  const double ratio = rise_ * now.middle / (2.0 * now.half_rise);
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
  const double highest = stage.ln_highest_rail() + most_over;
  const double wanted = std::log(measured_[0]);
  for (int round = 0; round < rounds; ++round) {
    if (round < rise_rounds) find_rise(seen_fundamental(stage, ln_input_));
    const double here = std::log(seen_fundamental(stage, ln_input_).middle);
    const double there = std::log(seen_fundamental(stage, ln_input_ + probe).middle);
    const double move = (wanted - here) / std::max((there - here) / probe, least_slope);
    ln_input_ = std::min(ln_input_ + std::clamp(move, -most_move, most_move), highest);
    if (std::abs(move) < close) return;
  }
}

void FittedTone::add_residuals(const KneeStage& stage, std::vector<double>& residuals) {
  constexpr double probe = 0.01;
  constexpr double least_rise = 1e-9;
  find_input(stage);
  const LawHarmonics now = seen(stage, ln_input_);
  const LawHarmonics moved = seen(stage, ln_input_ + probe);
  const double rise = std::max(moved[0] - now[0], least_rise);
  for (std::size_t k = 0; k < orders_; ++k) {
    const double by_input = k == 0 ? 0.0 : (moved[k] - now[k]) / rise * sigma_[0];
    residuals.push_back((measured_[k] - now[k]) / std::hypot(sigma_[k], by_input));
  }
}

// One law for a tone at several levels, by least squares.

namespace {

constexpr std::size_t parameters = SharedLaw::parameters;
using Parameters = std::array<double, parameters>;
using Free = std::vector<std::size_t>;  // parameters that are not held

const double db_per_ln = 20.0 / std::numbers::ln10;

// So hard a knee is a corner: its flat level is 0.02 dB above the rail.
constexpr double corner_sharpness = 1000.0;
// A knee that is harder than this, 0.1 dB, is not told from what an uneven movement leaves of a
// corner (trials).
constexpr double hard_sharpness = 200.0;
constexpr double least_sharpness = 0.8;
constexpr double least_tail = -2.0, most_tail = 3.0;

// Few harmonics say little of the tail, so it is held near those of usual knees: 0.7 to 1 of
// p-norms, 0.3 of a hyperbolic tangent.
constexpr double usual_tail = 0.7;
constexpr double tail_sigma = 0.5;

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
  Free free;
};

struct Solution {
  Parameters at{};
  Free free;
  std::vector<FittedTone> tones;  // with their inputs
  std::vector<double> residuals;
  double squares = std::numeric_limits<double>::infinity();
  std::vector<double> normal;  // JᵀJ
  // RMS of what is left, in standard deviations.
  [[nodiscard]] double misfit() const {
    return std::sqrt(squares / static_cast<double>(residuals.size()));
  }
};

// Tables of shapes that were asked for lately: most parameters do not change them.
std::shared_ptr<KneeTable> table_of(const KneeShape& shape, std::size_t orders) {
  struct Made {
    KneeShape shape;
    std::size_t orders;
    std::shared_ptr<KneeTable> table;
  };
  constexpr std::size_t most = 12;
  thread_local std::deque<Made> lately;
  for (const Made& made : lately) {
    if (made.shape == shape && made.orders == orders) return made.table;
  }
  if (lately.size() >= most) lately.pop_back();
  lately.push_front({shape, orders, std::make_shared<KneeTable>(shape, orders)});
  return lately.front().table;
}

struct Side {
  double rail;
  KneeShape first, second;
};

Side side_of(const Parameters& at, bool positive) {
  const double unlike = positive ? at[SharedLaw::unlike] : -at[SharedLaw::unlike];
  return {std::exp(at[positive ? SharedLaw::ln_positive : SharedLaw::ln_negative]),
          {std::exp(at[SharedLaw::ln_sharpness] + unlike), at[SharedLaw::tail],
           at[SharedLaw::straight]},
          {std::exp(at[SharedLaw::ln_second]), at[SharedLaw::tail], at[SharedLaw::straight]}};
}

std::vector<LawKnee> knees_of(const Parameters& at, bool positive, std::size_t orders) {
  const Side side = side_of(at, positive);
  const double share = at[SharedLaw::share];
  std::vector<LawKnee> knees{
      {std::log(side.rail), (1.0 - share) * side.rail, table_of(side.first, orders)}};
  if (share > 0.0) {
    const double above = at[SharedLaw::ln_above];
    knees.push_back({std::log(side.rail) + above, share * side.rail * std::exp(above),
                     table_of(side.second, orders)});
  }
  return knees;
}

KneeStage stage_of(const Parameters& at, std::size_t orders) {
  return {knees_of(at, true, orders), knees_of(at, false, orders), orders};
}

// What is held near something where the tones say little of it.
struct Usual {
  std::size_t parameter;
  double value, sigma;
};
constexpr std::array<Usual, 4> usual{{{SharedLaw::tail, usual_tail, tail_sigma},
                                      {SharedLaw::unlike, 0.0, 3.0},
                                      {SharedLaw::share, 0.5, 0.5},
                                      {SharedLaw::ln_second, 3.5, 1.5}}};

void work_out(const Problem& problem, Solution& solution) {
  const KneeStage stage = stage_of(solution.at, problem.orders);
  solution.residuals.clear();
  for (FittedTone& tone : solution.tones) tone.add_residuals(stage, solution.residuals);
  for (const Usual& held : usual) {
    if (std::find(problem.free.begin(), problem.free.end(), held.parameter) == problem.free.end())
      continue;
    solution.residuals.push_back((solution.at[held.parameter] - held.value) / held.sigma);
  }
  solution.squares = 0.0;
  for (const double value : solution.residuals) solution.squares += value * value;
}

// Of each parameter: the step of its finite difference, how far it moves at once, and its range.
struct Range {
  double probe, most_move, low, high;
};
const double ln_hardest = std::log(corner_sharpness);
const double ln_softest = std::log(least_sharpness);
const std::array<Range, parameters> ranges{{
    {0.002, 0.3, -50.0, 50.0},             // ln_positive
    {0.002, 0.3, -50.0, 50.0},             // ln_negative
    {-0.02, 0.8, ln_softest, ln_hardest},  // ln_sharpness
    {0.02, 0.4, least_tail, most_tail},    // tail
    {-0.004, 0.1, 0.0, 0.97},              // straight
    {0.02, 0.4, -3.0, 3.0},                // unlike
    {-0.004, 0.2, 0.02, 0.98},             // share
    {0.002, 0.3, 0.03, 2.0},               // ln_above
    {-0.02, 0.8, ln_softest, ln_hardest},  // ln_second
}};

std::vector<std::vector<double>> slopes_at(const Problem& problem, const Solution& here) {
  std::vector<std::vector<double>> columns;
  for (const std::size_t p : problem.free) {
    const double probe = ranges[p].probe;
    Solution moved = here;
    moved.at[p] += probe;
    work_out(problem, moved);
    for (std::size_t i = 0; i < here.residuals.size(); ++i) {
      moved.residuals[i] = (moved.residuals[i] - here.residuals[i]) / probe;
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

Parameters moved_by(const Parameters& at, const Free& free, const std::vector<double>& move) {
  Parameters next = at;
  for (std::size_t i = 0; i < free.size(); ++i) {
    const Range& range = ranges[free[i]];
    const double moved = at[free[i]] + std::clamp(move[i], -range.most_move, range.most_move);
    next[free[i]] = std::clamp(moved, range.low, range.high);
  }
  return next;
}

// One round: sets the normal matrix, and moves to where the squares are lower.
// \returns by how much they are, 0 where no move lowers them
double lower(const Problem& problem, Solution& here, double& damping) {
  constexpr int attempts = 6;
  constexpr double relax = 0.2;
  constexpr double tighten = 6.0;
  const std::size_t n = problem.free.size();
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
    next.at = moved_by(here.at, problem.free, move);
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
constexpr int most_rounds = 12;

Solution descend(const Problem& problem, const Parameters& start,
                 const std::vector<FittedTone>& tones, int rounds = most_rounds) {
  constexpr double enough = 1e-3;  // of the squares
  constexpr double first_damping = 1e-2;
  Solution solution;
  solution.at = start;
  solution.free = problem.free;
  solution.tones = tones;
  work_out(problem, solution);
  double damping = first_damping;
  for (int round = 0; round < rounds; ++round) {
    if (lower(problem, solution, damping) < enough) break;
  }
  return solution;
}

Parameters single_knee(double ln_positive, double ln_negative, double sharpness) {
  Parameters at{};
  at[SharedLaw::ln_positive] = ln_positive;
  at[SharedLaw::ln_negative] = ln_negative;
  at[SharedLaw::ln_sharpness] = std::log(sharpness);
  at[SharedLaw::tail] = usual_tail;
  return at;
}

// The best of several beginnings, each followed for a few rounds, gone on with.
Solution best_of(const Problem& problem, const std::vector<Parameters>& starts,
                 const std::vector<FittedTone>& tones) {
  constexpr int first_rounds = 4;
  if (starts.size() == 1) return descend(problem, starts[0], tones);
  Solution best;
  for (const Parameters& start : starts) {
    Solution found = descend(problem, start, tones, first_rounds);
    if (found.squares < best.squares) best = std::move(found);
  }
  return descend(problem, best.at, best.tones);
}

const Free like_knees{SharedLaw::ln_positive, SharedLaw::ln_negative, SharedLaw::ln_sharpness,
                      SharedLaw::tail};

Free with(Free free, std::initializer_list<std::size_t> more) {
  free.insert(free.end(), more);
  return free;
}

// From a soft, a middle and a hard knee at the highest crests.
Solution best_knee(std::size_t orders, const Crests& crests, const std::vector<FittedTone>& tones) {
  std::vector<Parameters> starts;
  for (const double sharpness : {3.0, 12.0, 80.0})
    starts.push_back(single_knee(std::log(crests.positive), std::log(crests.negative), sharpness));
  return best_of({orders, like_knees}, starts, tones);
}

// The corners nearest to a knee.
Solution nearest_corner(std::size_t orders, const Solution& knee) {
  return descend({orders, {SharedLaw::ln_positive, SharedLaw::ln_negative}},
                 single_knee(knee.at[SharedLaw::ln_positive], knee.at[SharedLaw::ln_negative],
                             corner_sharpness),
                 knee.tones);
}

// Knees of unlike sharpness, from the like ones.
Solution unlike_knees(std::size_t orders, const Solution& knee) {
  constexpr double apart = 0.4;
  Parameters start = knee.at;
  start[SharedLaw::unlike] = apart;
  Parameters other = knee.at;
  other[SharedLaw::unlike] = -apart;
  return best_of({orders, with(like_knees, {SharedLaw::unlike})}, {start, other}, knee.tones);
}

// The slope falls in a straight line over as wide a range as that of the knee.
Solution straight_knees(std::size_t orders, const Solution& knee) {
  constexpr double high = 0.9, low = 0.1;  // slopes
  constexpr double narrowest = 0.03;
  Parameters start = knee.at;
  const SharedLaw law{.at = knee.at};
  const double rail = input_at_slope(law, 0.5);
  const double width = (input_at_slope(law, low) - input_at_slope(law, high)) / rail;
  start[SharedLaw::straight] =
      1.0 - std::clamp(width / (2.0 * (high - low)), narrowest, 1.0 - narrowest);
  start[SharedLaw::ln_sharpness] = 0.0;
  start[SharedLaw::tail] = -1.0;
  return best_of({orders, with(like_knees, {SharedLaw::straight})}, {start}, knee.tones);
}

// A soft knee before the rail.
Solution two_knees(std::size_t orders, const Crests& crests, const std::vector<FittedTone>& tones) {
  struct Start {
    double share, above;
  };
  std::vector<Parameters> starts;
  for (const Start& start :
       {Start{0.35, 1.4}, Start{0.35, 2.2}, Start{0.7, 1.2}, Start{0.7, 1.9}, Start{0.75, 1.1}}) {
    const double crest = 1.0 - start.share + start.share * start.above;  // re the first knee
    Parameters at =
        single_knee(std::log(crests.positive / crest), std::log(crests.negative / crest), 60.0);
    at[SharedLaw::share] = start.share;
    at[SharedLaw::ln_above] = std::log(start.above);
    at[SharedLaw::ln_second] = std::log(60.0);
    starts.push_back(at);
  }
  return best_of(
      {orders, with(like_knees, {SharedLaw::share, SharedLaw::ln_above, SharedLaw::ln_second})},
      starts, tones);
}

// The same with a corner at the rail.
Solution second_corner(std::size_t orders, const Solution& knees) {
  Parameters start = knees.at;
  start[SharedLaw::ln_second] = std::log(corner_sharpness);
  return descend({orders, with(like_knees, {SharedLaw::share, SharedLaw::ln_above})}, start,
                 knees.tones);
}

// The squares rise by less than what two parameters more take by chance, once in twenty.
bool is_as_likely(const Solution& corner, const Solution& knee) {
  constexpr double by_chance =
      6.0;  // χ² of two degrees of freedom [Abramowitz, Stegun, table 26.8]
  const double unit = knee.squares / static_cast<double>(knee.residuals.size());
  const bool like = knee.free.size() == like_knees.size();
  return (like && knee.at[SharedLaw::ln_sharpness] > std::log(hard_sharpness)) ||
         corner.squares - knee.squares < by_chance * unit;
}

SharedLaw law_of(const Solution& solution) {
  SharedLaw law;
  law.at = solution.at;
  law.misfit = solution.misfit();
  const double factor = std::max(1.0, law.misfit * law.misfit);
  const std::size_t n = solution.free.size();
  for (std::size_t p = 0; p < n; ++p) {
    std::vector<double> matrix = solution.normal;
    std::vector<double> unit(n, 0.0);
    unit[p] = factor;
    for (std::size_t q = 0; q < n; ++q) matrix[q * n + q] += ridge;
    solve_symmetric(matrix, unit, n);
    for (std::size_t q = 0; q < n; ++q)
      law.covariance[solution.free[p] * parameters + solution.free[q]] = unit[q];
  }
  for (const FittedTone& tone : solution.tones) {
    law.highest_input = std::max(law.highest_input, std::exp(tone.ln_input()));
  }
  return law;
}

// So far over its rails that a tone says little of the onset, and more of what else the stage does:
// a sine 6 dB over both has a fundamental that is as much higher than its crests (from the closed
// form of the clipped sine).
bool is_far_over(const LawTone& tone, Hertz coupling) {
  constexpr double far = 1.218;
  const Crests crests = crests_of(*tone.series, tone.orders, coupling);
  const double fundamental = std::abs(before_coupling(*tone.series, 1, coupling).real());
  return fundamental > far * 0.5 * (crests.positive + crests.negative);
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

namespace {

// Every so many of them that no more than `most` are left.
template <class Tone>
std::vector<Tone> thinned(const std::vector<Tone>& tones, std::size_t most) {
  const std::size_t stride = (tones.size() + most - 1) / most;
  std::vector<Tone> few;
  for (std::size_t i = 0; i < tones.size(); i += stride) few.push_back(tones[i]);
  return few;
}

// Misfit, and what a law's number of parameters makes of it [H. Akaike, IEEE Trans. AC-19 (1974),
// p. 716, with twice its weight for each].
double score(const Solution& solution, double unit) {
  constexpr double by_parameter = 4.0;
  return solution.squares + by_parameter * unit * static_cast<double>(solution.free.size());
}

double unit_of(const std::vector<Solution>& solutions) {
  double unit = std::numeric_limits<double>::infinity();
  for (const Solution& solution : solutions)
    unit = std::min(unit, solution.squares / static_cast<double>(solution.residuals.size()));
  return std::max(unit, 1.0);
}

void sort_by_score(std::vector<Solution>& solutions) {
  const double unit = unit_of(solutions);
  std::sort(solutions.begin(), solutions.end(),
            [&](const Solution& a, const Solution& b) { return score(a, unit) < score(b, unit); });
}

// Laws that are so much worse cannot be.
constexpr double hopeless = 40.0;  // units of the score

std::vector<Solution> solutions_of(std::size_t orders, const Crests& crests,
                                   const std::vector<FittedTone>& tones) {
  constexpr std::size_t enough = 14;  // to tell which law it is
  const auto few = thinned(tones, enough);
  std::vector<Solution> tried{best_knee(orders, crests, few)};
  if (is_as_likely(nearest_corner(orders, tried[0]), tried[0]) && tried[0].misfit() < 1.0)
    return {descend({orders, like_knees}, tried[0].at, tones)};
  tried.push_back(unlike_knees(orders, tried[0]));
  tried.push_back(straight_knees(orders, tried[0]));
  tried.push_back(two_knees(orders, crests, few));
  tried.push_back(second_corner(orders, tried.back()));
  sort_by_score(tried);
  const double unit = unit_of(tried);
  std::vector<Solution> solutions;
  for (const Solution& one : tried) {
    if (score(one, unit) > score(tried[0], unit) + hopeless * unit) break;
    solutions.push_back(descend({orders, one.free}, one.at, tones));
  }
  sort_by_score(solutions);
  return solutions;
}

}  // namespace

std::vector<SharedLaw> fit_shared_laws(std::vector<LawTone> given) {
  constexpr std::size_t least_tones = 3, most_tones = 40;
  if (given.size() < least_tones) return {};
  const Hertz coupling = coupling_of(given);
  std::erase_if(given, [&](const LawTone& tone) { return is_far_over(tone, coupling); });
  if (given.size() < least_tones) return {};
  given = thinned(given, most_tones);
  const Crests crests = highest_crests(given, coupling);
  if (!(crests.positive > 0.0 && crests.negative > 0.0)) return {};
  std::size_t orders = 1;
  std::vector<FittedTone> tones;
  for (const LawTone& tone : given) {
    tones.emplace_back(tone, coupling);
    orders = std::max(orders, tones.back().orders());
  }
  const std::vector<Solution> solutions = solutions_of(orders, crests, tones);
  if (solutions[0].normal.empty()) return {};
  const double unit = unit_of(solutions);
  std::vector<SharedLaw> laws;
  for (const Solution& solution : solutions) {
    laws.push_back(law_of(solution));
    laws.back().likelihood =
        std::exp(-0.5 * (score(solution, unit) - score(solutions[0], unit)) / unit);
  }
  const Solution corner = nearest_corner(orders, solutions[0]);
  if (is_as_likely(corner, solutions[0])) {
    constexpr double flat = 0.1;  // any slope that is nearly none
    SharedLaw law = law_of(corner);
    law.corner = true;
    law.knee_db = db_per_ln * std::log(input_at_slope(laws[0], flat) / input_at_slope(law, flat));
    laws[0] = law;
  }
  for (SharedLaw& law : laws) {
    law.fundamental = given.front().series->fundamental;
    law.coupling = coupling;
  }
  return laws;
}

SharedLawOutput::SharedLawOutput(const SharedLaw& law, std::size_t orders)
    : stage_(stage_of(law.at, std::min(orders, KneeTable::most_orders))),
      corner_re_fundamental_(law.coupling / law.fundamental) {}

LawOutput SharedLawOutput::at(double amplitude) const {
  LawHarmonics harmonics;
  stage_.harmonics_at(std::log(amplitude), harmonics);
  LawOutput output;
  for (std::size_t k = 1; k <= stage_.orders; ++k) {
    const double corner = corner_re_fundamental_ / static_cast<double>(k);
    (k == 1 ? output.fundamental : output.harmonics) +=
        0.5 * harmonics[k - 1] * harmonics[k - 1] / (1.0 + corner * corner);
  }
  return output;
}

double slope_at(const SharedLaw& law, double amplitude) {
  const double share = law.at[SharedLaw::share];
  double lowest = 1.0;
  for (const bool positive : {true, false}) {
    const Side side = side_of(law.at, positive);
    const double x = amplitude / side.rail;
    double slope = (1.0 - share) * side.first.slope_at(x);
    if (share > 0.0)
      slope += share * side.second.slope_at(x / std::exp(law.at[SharedLaw::ln_above]));
    lowest = std::min(lowest, slope);
  }
  return lowest;
}

double input_at_slope(const SharedLaw& law, double slope) {
  constexpr int rounds = 60;
  constexpr double reach = 4.0;  // ln, either way
  const double rail = std::min(law.at[SharedLaw::ln_positive], law.at[SharedLaw::ln_negative]);
  if (law.corner) return std::exp(rail);
  double low = rail - reach;
  double high = rail + reach;
  for (int round = 0; round < rounds; ++round) {
    const double middle = 0.5 * (low + high);
    (slope_at(law, std::exp(middle)) > slope ? low : high) = middle;
  }
  return std::exp(0.5 * (low + high));
}

}  // namespace railtap::measure
