// SPDX-License-Identifier: MIT
// The model behind the clipped-sine fit, and the series it is made of, in closed form.
#include "measure/clipped_sine_model.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <span>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

/// S_m = sin(m·p)/m by the rotation recurrence, four orders at a time; its rounding grows as
/// m·1e−16, far below any noise here.
RAILTAP_VECTORIZE void fill_chords(double angle, double* chord, std::size_t count) {
  constexpr std::size_t at_once = orders_at_once;
  const double sin_p = std::sin(angle), cos_p = std::cos(angle);
  double sine[at_once + 1] = {0.0}, cosine[at_once + 1] = {1.0};
  for (std::size_t k = 1; k <= at_once; ++k) {
    sine[k] = sine[k - 1] * cos_p + cosine[k - 1] * sin_p;
    cosine[k] = cosine[k - 1] * cos_p - sine[k - 1] * sin_p;
  }
  const double step_sine = sine[at_once], step_cosine = cosine[at_once];
  for (std::size_t first = 0; first < count; first += at_once) {
    const std::size_t here = std::min(at_once, count - first);
    for (std::size_t k = 0; k < here; ++k) chord[first + k] = sine[k];
#pragma omp simd
    for (std::size_t k = 0; k < at_once; ++k) {
      const double next = sine[k] * step_cosine + cosine[k] * step_sine;
      cosine[k] = cosine[k] * step_cosine - sine[k] * step_sine;
      sine[k] = next;
    }
  }
  chord[0] = angle;
#pragma omp simd
  for (std::size_t m = 1; m < count; ++m) chord[m] /= static_cast<double>(m);
}

RAILTAP_VECTORIZE void fill_excess(const double* chord, double* excess, std::size_t count) {
#pragma omp simd
  for (std::size_t n = 1; n < count; ++n)
    excess[n] = (chord[n - 1] - chord[n + 1]) / (std::numbers::pi * static_cast<double>(n));
}

RAILTAP_VECTORIZE void fill_mean_of_knee(const double* excess_low, const double* excess_high,
                                         double width, double* mean_excess, double* by_low,
                                         double* by_high, std::size_t count) {
  const double per_width = 1.0 / width;
#pragma omp simd
  for (std::size_t n = 1; n < count; ++n) {
    const double half = 1.0 / (2.0 * static_cast<double>(n));
    const double integral_low = half * (excess_low[n - 1] - excess_low[n + 1]);
    const double integral_high = half * (excess_high[n - 1] - excess_high[n + 1]);
    const double mean = (integral_low - integral_high) * per_width;
    mean_excess[n] = mean;
    by_low[n] = (mean - excess_low[n]) * per_width;
    by_high[n] = (excess_high[n] - mean) * per_width;
  }
}

/// The angle whose cosine is the threshold; 0 for a threshold the sine does not reach.
double reach(double threshold) {
  return threshold >= 1.0 ? 0.0 : std::acos(std::max(threshold, 0.0));
}

}  // namespace

void excess_series(double angle, std::span<double> chord, std::span<double> excess) {
  fill_chords(angle, chord.data(), chord.size());
  excess[0] = 2.0 / std::numbers::pi * (std::sin(angle) - angle * std::cos(angle));
  fill_excess(chord.data(), excess.data(), excess.size());
}

void knee_series(double low, double high, std::span<double> scratch, KneeSeries out) {
  const std::size_t size = out.excess.size();
  const auto chord = scratch.first(size + 2);
  const auto excess_low = scratch.subspan(size + 2, size + 1);
  const auto excess_high = scratch.subspan(2 * size + 3, size + 1);
  excess_series(reach(low), chord, excess_low);
  excess_series(reach(high), chord, excess_high);
  out.excess[0] = out.by_low[0] = out.by_high[0] = 0.0;
  fill_mean_of_knee(excess_low.data(), excess_high.data(), high - low, out.excess.data(),
                    out.by_low.data(), out.by_high.data(), size);
}

}  // namespace railtap::measure

namespace railtap::measure::clip {
namespace {

using Complex = std::complex<double>;
using Row = std::array<double, parameter_count>;
constexpr std::size_t table_size = max_orders + 1;

/// What one rail takes off at each order, and how that moves with the rail and the knee.
struct RailTable {
  std::array<double, table_size> excess{}, by_rail{}, by_knee{};
};

/// Beyond this angle the plateau is 98 % of the cycle: a square wave, where A has no meaning.
constexpr double widest_angle = 1.55;

/// A lower corner than 9 kHz is no anti-alias filter: it would pass a soft knee off as a rounded
/// corner.
constexpr double strongest_low_pass = 1.2;

void fill_corner(double q, std::size_t orders, RailTable& table) {
  const double angle = std::cbrt(q);
  std::array<double, table_size + 1> chord;
  excess_series(angle, std::span(chord).first(orders + 2),
                std::span(table.excess).first(orders + 1));
  // dE_n/dq = dE_n/dp · dp/dq = (2/π)·sin p·S_n / (3p²); the ratio tends to S_n/(3p) → 1/3 at p =
  // 0.
  const double tiny = 1e-7;
  const bool at_zero = std::abs(angle) < tiny;
  const double factor =
      at_zero ? 0.0 : 2.0 / std::numbers::pi * std::sin(angle) / (3.0 * angle * angle);
  for (std::size_t n = 1; n <= orders; ++n) {
    table.by_rail[n] = at_zero ? 2.0 / (3.0 * std::numbers::pi) : factor * chord[n];
  }
}

void add_knee_box(double ratio, double width, std::size_t node, std::size_t orders,
                  RailTable& table) {
  std::array<double, 4 * (table_size + 2)> scratch;
  std::array<double, table_size> excess, by_low, by_high;
  const std::size_t size = orders + 1;
  const double half = KneeLaw::half_width[node];
  const double low = ratio * std::exp(-width * half);
  const double high = ratio * std::exp(width * half);
  if (low >= 1.0) return;
  knee_series(low, high, scratch,
              {std::span(excess).first(size), std::span(by_low).first(size),
               std::span(by_high).first(size)});
  const double weight = KneeLaw::weight[node];
  for (std::size_t n = 1; n <= orders; ++n) {
    table.excess[n] += weight * excess[n];
    table.by_rail[n] += weight * (by_low[n] * low + by_high[n] * high) / ratio;
    table.by_knee[n] += weight * half * (by_high[n] * high - by_low[n] * low);
  }
}

void fill_knee(double ratio, double width, std::size_t orders, RailTable& table) {
  for (std::size_t node = 0; node < KneeLaw::weight.size(); ++node) {
    add_knee_box(ratio, width, node, orders, table);
  }
}

void fill_rail(const Shape& shape, const Parameters& at, Parameter rail, std::size_t orders,
               RailTable& table) {
  if (shape.with_knee) {
    fill_knee(at[rail], at[knee], orders, table);
  } else {
    fill_corner(at[rail], orders, table);
  }
}

/// ln of a one-pole low-pass without its delay, and its derivative by g = (10 kHz/corner)², at x =
/// f/10 kHz: ln L = −½·ln(1 + g·x²) + j·(√g·x − atan(√g·x)).
struct LowPass {
  double log_magnitude, angle, magnitude_by_g, angle_by_g;
};
LowPass low_pass_at(double g, double x) {
  const double root = std::sqrt(g);
  const double denominator = 1.0 + g * x * x;
  return {-0.5 * std::log(denominator), root * x - std::atan(root * x), -0.5 * x * x / denominator,
          0.5 * root * x * x * x / denominator};
}

/// The chain behind the rails at one order, and d ln(gain)/d parameter.
struct Chain {
  Complex gain;
  Complex by_coupling, by_pair, by_low_pass{0.0, 0.0}, by_dispersion{0.0, 0.0};
};

/// Two high-passes: 1/[(1 − j·f1/f)(1 − j·f2/f)] = 1/(1 − j·(f1 + f2)/f − f1·f2/f²).
Chain coupled(const Parameters& at, double hz, Complex turn) {
  const double re = 1.0 - at[coupling_pair] / (hz * hz);
  const double im = at[coupling] / hz;
  const double size = 1.0 / (re * re + im * im);
  const Complex high_pass(re * size, im * size);
  return {turn * high_pass, high_pass * Complex(0.0, 1.0 / hz), high_pass / (hz * hz)};
}

/// The low-pass terms are held at 1 for the fundamental, so that they do not trade with A and the
/// phase.
void add_low_pass(const Parameters& at, double k, double f, Chain& chain) {
  const double x = k * f / 1e4;
  const double x1 = f / 1e4;
  const LowPass here = low_pass_at(at[low_pass], x);
  const LowPass first = low_pass_at(at[low_pass], x1);
  const double cubic = x * x * x - k * x1 * x1 * x1;
  chain.gain *= std::polar(std::exp(here.log_magnitude - first.log_magnitude),
                           here.angle - k * first.angle - at[dispersion] * cubic);
  chain.by_low_pass = {here.magnitude_by_g - first.magnitude_by_g,
                       here.angle_by_g - k * first.angle_by_g};
  chain.by_dispersion = {0.0, -cubic};
}

/// Model and derivatives at all orders; only the free parameters' derivatives are filled in.
struct Evaluation {
  std::array<Complex, table_size> model;
  std::array<std::array<Complex, parameter_count>, table_size> slope;
};

void evaluate(const Problem& problem, const Shape& shape, const Parameters& at, Evaluation& out) {
  RailTable up, down;
  if (shape.positive) fill_rail(shape, at, rail_positive, problem.orders, up);
  // A table costs as much as all the rest.
  const bool alike = shape.positive && at[rail_negative] == at[rail_positive];
  if (shape.negative && alike) down = up;
  if (shape.negative && !alike) fill_rail(shape, at, rail_negative, problem.orders, down);
  const bool filtered = shape.free[low_pass] || shape.free[dispersion];
  const Complex step = std::polar(1.0, at[phase]);
  Complex turn(1.0, 0.0);
  for (std::size_t n = 1; n <= problem.orders; ++n) {
    const double k = static_cast<double>(n);
    const double side = n % 2 == 0 ? 1.0 : -1.0;
    const double shape_n = (n == 1 ? 1.0 : 0.0) - up.excess[n] + side * down.excess[n];
    turn *= step;
    Chain chain = coupled(at, k * problem.fundamental_hz, turn);
    if (filtered) add_low_pass(at, k, problem.fundamental_hz, chain);
    const Complex scale = at[amplitude] * chain.gain;
    const Complex model = scale * shape_n;
    auto& slope = out.slope[n];
    out.model[n] = model;
    slope[amplitude] = chain.gain * shape_n;
    slope[phase] = Complex(-k * model.imag(), k * model.real());
    slope[rail_positive] = -scale * up.by_rail[n];
    slope[rail_negative] = scale * (side * down.by_rail[n]);
    slope[coupling] = model * chain.by_coupling;
    if (shape.free[coupling_pair]) slope[coupling_pair] = model * chain.by_pair;
    if (shape.free[low_pass]) slope[low_pass] = model * chain.by_low_pass;
    if (shape.free[dispersion]) slope[dispersion] = model * chain.by_dispersion;
    if (shape.free[knee]) slope[knee] = scale * (side * down.by_knee[n] - up.by_knee[n]);
  }
}

/// What is known beforehand about a parameter, wide enough not to matter where the harmonics say
/// anything.
struct Prior {
  Parameter parameter;
  double mean, sigma;
};
constexpr std::array<Prior, 5> priors{{
    {coupling, 8.0, 25.0},        // sound cards and coupling capacitors: 0 … 30 Hz
    {coupling_pair, 0.0, 150.0},  // two corners of 12 Hz have the product 144
    {low_pass, 0.0, 1.0},         // one pole at 10 kHz: 1
    {dispersion, 0.0, 0.5},       // four-pole Butterworth at 10 kHz: 0.6
    {knee, 0.1, 0.3},
}};

/// Normal equations of the linearised problem, over the free parameters only.
struct Normal {
  std::size_t size = 0;
  std::array<Parameter, parameter_count> which{};
  std::array<std::array<double, parameter_count>, parameter_count> matrix{};
  Row vector{};
  double chi_squared = 0.0;
  double objective = 0.0;
};

void add_row(Normal& normal, const Row& slope, double residual) {
  for (std::size_t i = 0; i < normal.size; ++i) {
    normal.vector[i] += slope[i] * residual;
    for (std::size_t j = 0; j <= i; ++j) normal.matrix[i][j] += slope[i] * slope[j];
  }
}

void add_priors(Normal& normal, const Shape& shape, const Parameters& at) {
  for (const Prior& prior : priors) {
    if (!shape.free[prior.parameter]) continue;
    Row slope{};
    for (std::size_t i = 0; i < normal.size; ++i) {
      slope[i] = normal.which[i] == prior.parameter ? 1.0 / prior.sigma : 0.0;
    }
    const double residual = (prior.mean - at[prior.parameter]) / prior.sigma;
    normal.objective += residual * residual;
    add_row(normal, slope, residual);
  }
}

Normal linearise(const Problem& problem, const Shape& shape, const Parameters& at,
                 Evaluation& evaluation) {
  evaluate(problem, shape, at, evaluation);
  Normal normal;
  for (std::size_t i = 0; i < parameter_count; ++i) {
    if (shape.free[i]) normal.which[normal.size++] = static_cast<Parameter>(i);
  }
  Row real, imaginary;
  for (std::size_t n = 1; n <= problem.orders; ++n) {
    const double weight = problem.weight[n];
    const Complex residual = weight * (problem.harmonic[n] - evaluation.model[n]);
    for (std::size_t i = 0; i < normal.size; ++i) {
      const Complex slope = weight * evaluation.slope[n][normal.which[i]];
      real[i] = slope.real();
      imaginary[i] = slope.imag();
    }
    normal.chi_squared += std::norm(residual);
    add_row(normal, real, residual.real());
    add_row(normal, imaginary, residual.imag());
  }
  normal.objective = normal.chi_squared;
  add_priors(normal, shape, at);
  return normal;
}

/// Cholesky factor in place, with the diagonal raised by the factor 1 + damping; false if not
/// positive.
bool factorise(Normal& normal, double damping) {
  auto& m = normal.matrix;
  for (std::size_t i = 0; i < normal.size; ++i) {
    m[i][i] *= 1.0 + damping;
    for (std::size_t j = 0; j <= i; ++j) {
      double sum = m[i][j];
      for (std::size_t k = 0; k < j; ++k) sum -= m[i][k] * m[j][k];
      if (i != j) {
        m[i][j] = sum / m[j][j];
      } else if (sum > 0.0) {
        m[i][i] = std::sqrt(sum);
      } else {
        return false;
      }
    }
  }
  return true;
}

void solve(const Normal& factor, Row& x) {
  for (std::size_t i = 0; i < factor.size; ++i) {
    for (std::size_t k = 0; k < i; ++k) x[i] -= factor.matrix[i][k] * x[k];
    x[i] /= factor.matrix[i][i];
  }
  for (std::size_t i = factor.size; i-- > 0;) {
    for (std::size_t k = i + 1; k < factor.size; ++k) x[i] -= factor.matrix[k][i] * x[k];
    x[i] /= factor.matrix[i][i];
  }
}

void keep_inside(const Shape& shape, Parameters& at) {
  const double widest_q = widest_angle * widest_angle * widest_angle;
  for (const Parameter rail : {rail_positive, rail_negative}) {
    at[rail] = shape.with_knee ? std::clamp(at[rail], 0.02, 5.0)
                               : std::clamp(at[rail], -0.1 * widest_q, widest_q);
  }
  at[knee] = std::clamp(at[knee], 0.0005, 0.5);
  at[coupling] = std::clamp(at[coupling], -100.0, 500.0);
  at[low_pass] = std::clamp(at[low_pass], 0.0, strongest_low_pass);
}

Parameters stepped(const Normal& normal, const Shape& shape, const Parameters& at,
                   const Row& step) {
  Parameters next = at;
  for (std::size_t i = 0; i < normal.size; ++i) next[normal.which[i]] += step[i];
  keep_inside(shape, next);
  return next;
}

void fill_covariance(const Normal& normal, Fit& fit) {
  Normal factor = normal;
  if (!factorise(factor, 0.0)) return;
  for (std::size_t i = 0; i < normal.size; ++i) {
    Row unit{};
    unit[i] = 1.0;
    solve(factor, unit);
    for (std::size_t j = 0; j < normal.size; ++j) {
      fit.covariance[normal.which[i]][normal.which[j]] = unit[j];
    }
  }
}

}  // namespace

Crest crest_of(double middle, double width) {
  Crest crest{1.0, 0.0};
  for (std::size_t node = 0; node < KneeLaw::weight.size(); ++node) {
    const double reach = std::exp(width * KneeLaw::half_width[node]);
    const double low = middle / reach;
    const double high = middle * reach;
    // The gain is 1 below `low` and falls in a straight line to 0 at `high`: what is lost up to the
    // crest is the area above that line.
    const double inside = std::clamp(1.0 - low, 0.0, high - low);
    const double beyond = std::max(1.0 - high, 0.0);
    crest.level -= KneeLaw::weight[node] * (inside * inside / (2.0 * (high - low)) + beyond);
    crest.slope += KneeLaw::weight[node] * std::clamp((high - 1.0) / (high - low), 0.0, 1.0);
  }
  return crest;
}

Shape shape_of(std::initializer_list<Parameter> free) {
  Shape shape;
  for (const Parameter parameter : free) shape.free[parameter] = true;
  shape.positive = shape.free[rail_positive];
  shape.negative = shape.free[rail_negative];
  shape.with_knee = shape.free[knee];
  return shape;
}

namespace {

/// The noise at an order, averaged over its neighbours: each sigma is an estimate from a few dozen
/// spectral lines, and weights that scatter make the stated uncertainty too small.
double smooth_sigma(const HarmonicSeries& tone, std::size_t order, std::size_t orders) {
  constexpr std::size_t reach = 4;
  const std::size_t first = order > reach ? order - reach : 1;
  const std::size_t last = std::min(order + reach, orders);
  double mean_log = 0.0;
  for (std::size_t n = first; n <= last; ++n)
    mean_log += std::log(std::max(tone.sigma[n - 1], 1e-30));
  return std::exp(mean_log / static_cast<double>(last - first + 1));
}

}  // namespace

Problem problem_of(const HarmonicSeries& tone, double highest_hz) {
  Problem problem;
  problem.fundamental_hz = tone.fundamental.value();
  const double reach = highest_hz / problem.fundamental_hz;
  const std::size_t offered = std::min({tone.phasor.size(), tone.sigma.size(), max_orders});
  // Bounded before it is a whole number: without a tone the reach is infinite.
  problem.orders = std::min(
      offered, static_cast<std::size_t>(std::clamp(reach, 1.0, static_cast<double>(max_orders))));
  // Rounding of the arithmetic before this, far below any converter: keeps an ideal signal's
  // weights finite.
  const double smallest = offered == 0 ? 0.0 : 1e-7 * std::abs(tone.phasor[0]);
  Complex turn(0.0, 1.0);
  for (std::size_t n = 1; n <= problem.orders; ++n) {
    problem.harmonic[n] = turn * tone.phasor[n - 1];
    problem.weight[n] = 1.0 / std::hypot(smooth_sigma(tone, n, problem.orders), smallest);
    turn *= Complex(0.0, 1.0);
  }
  return problem;
}

Fit minimise(const Problem& problem, const Shape& shape, const Parameters& start, Effort effort) {
  Evaluation evaluation;
  Fit fit;
  fit.at = start;
  keep_inside(shape, fit.at);
  Normal normal = linearise(problem, shape, fit.at, evaluation);
  double damping = 1e-3;
  for (int step = 0; step < effort.most_steps && damping < 1e12; ++step) {
    Normal factor = normal;
    Row move = normal.vector;
    if (!factorise(factor, damping)) {
      damping *= 10.0;
      continue;
    }
    solve(factor, move);
    const Parameters next = stepped(normal, shape, fit.at, move);
    Normal there = linearise(problem, shape, next, evaluation);
    if (!(there.objective < normal.objective)) {
      if (damping > 1e6) break;
      damping *= 8.0;
      continue;
    }
    const double gained = normal.objective - there.objective;
    fit.at = next;
    normal = there;
    damping = std::max(damping * 0.1, 1e-12);
    if (gained < effort.least_gain * (1.0 + normal.objective)) break;
  }
  fit.chi_squared = normal.chi_squared;
  fit.objective = normal.objective;
  const auto used = std::count_if(problem.weight.begin(), problem.weight.end(),
                                  [](double weight) { return weight > 0.0; });
  fit.degrees = 2.0 * static_cast<double>(used) - static_cast<double>(normal.size);
  fill_covariance(normal, fit);
  return fit;
}

double misfit_energy(const Problem& problem, const Shape& shape, const Parameters& at) {
  Evaluation evaluation;
  evaluate(problem, shape, at, evaluation);
  double energy = 0.0;
  for (std::size_t n = 2; n <= problem.orders; ++n) {
    if (problem.weight[n] <= 0.0) continue;
    energy += std::norm(problem.harmonic[n] - evaluation.model[n]);
  }
  return energy;
}

ByOrder chi_squared_by_order(const Problem& problem, const Shape& shape, const Parameters& at) {
  Evaluation evaluation;
  evaluate(problem, shape, at, evaluation);
  ByOrder out;
  for (std::size_t n = 1; n <= problem.orders; ++n) {
    const double weight = problem.weight[n] * problem.weight[n];
    out.measured[n] = weight * std::norm(problem.harmonic[n]);
    out.left[n] = weight * std::norm(problem.harmonic[n] - evaluation.model[n]);
  }
  return out;
}

}  // namespace railtap::measure::clip
