// SPDX-License-Identifier: MIT
// Which fault bends a sine the way its harmonics say.
#include "measure/waveform_shape.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <span>

#include "measure/clipped_sine_model.hpp"
#include "measure/kernels.hpp"
#include "measure/shape_series.hpp"

namespace railtap::measure {
namespace {

using shape::most_orders;
using shape::Orders;
using Complex = std::complex<double>;

// The measured harmonics over the fundamental, about the fundamental's crest, with their weights.
struct Problem {
  std::size_t orders = 0;
  double fundamental_hz = 0.0;
  Orders ratio{};
  std::array<double, most_orders + 1> sigma{}, weight{};
  double energy = 0.0;  // of orders 2 and up, noise taken off
  double noise = 0.0;   // what the noise leaves in them
  int seen = 0;         // orders 2 and up that stand out of the noise
};

// An order counts as seen at 5 sigma; what is 60 dB below the strongest says nothing of the shape.
constexpr double seen_sigmas = 5.0;
constexpr double seen_share = 1e-3;

void set_weights(Problem& p) {
  // A real circuit follows a model to a few per cent of each harmonic, and no order alone decides.
  constexpr double own_share = 0.03;
  constexpr double strongest_share = 0.003;
  double strongest = 0.0;
  for (std::size_t k = 2; k <= p.orders; ++k) strongest = std::max(strongest, std::abs(p.ratio[k]));
  for (std::size_t k = 2; k <= p.orders; ++k) {
    const double size = std::abs(p.ratio[k]);
    const double trust = p.sigma[k] * p.sigma[k] + own_share * own_share * size * size +
                         strongest_share * strongest_share * strongest * strongest;
    p.weight[k] = 1.0 / trust;
    if (size > seen_sigmas * p.sigma[k] && size > seen_share * strongest) ++p.seen;
  }
}

Problem problem_of(const HarmonicSeries& tone, double highest_hz) {
  Problem p;
  p.fundamental_hz = tone.fundamental.value();
  const double reach = std::clamp(highest_hz / p.fundamental_hz, 1.0, double{most_orders});
  p.orders = std::min({tone.phasor.size(), tone.sigma.size(), static_cast<std::size_t>(reach)});
  if (p.orders == 0) return p;
  const double amplitude = std::abs(tone.phasor[0]);
  Complex turn(0.0, 1.0);  // j^k: from the upward crossing to the crest
  for (std::size_t k = 1; k <= p.orders; ++k) {
    p.ratio[k] = turn * tone.phasor[k - 1] / amplitude;
    p.sigma[k] = tone.sigma[k - 1] / amplitude;
    turn *= Complex(0.0, 1.0);
    if (k == 1) continue;
    p.energy += std::norm(p.ratio[k]);
    p.noise += 2.0 * p.sigma[k] * p.sigma[k];
  }
  p.energy -= p.noise;
  set_weights(p);
  return p;
}

// A high-pass and a low-pass of first order behind the fault, by their corners: fh/f and f/fl.
struct Filters {
  double high_pass = 0.0, low_pass = 0.0;
};

Complex through(const Filters& filters, double k) {
  return 1.0 / (Complex(1.0, -filters.high_pass / k) * Complex(1.0, filters.low_pass * k));
}

// What the model leaves at orders 2 … `orders`, with the filters behind it and its fundamental's
// phase at 0.
template <class Visit>
void visit_misfit(const Problem& p, std::size_t orders, const Orders& model, const Filters& filters,
                  Visit visit) {
  const Complex first = model[1] * through(filters, 1.0);
  const double size = std::abs(first);
  if (!(size > 0.0)) return;
  const Complex step = std::conj(first) / size;
  Complex turn = step / size;
  for (std::size_t k = 2; k <= orders; ++k) {
    turn *= step;
    const Complex gain = through(filters, static_cast<double>(k)) * turn;
    visit(k, p.ratio[k] - model[k] * gain);
  }
}

double cost(const Problem& p, std::size_t orders, const Orders& model, const Filters& filters) {
  double sum = 0.0;
  visit_misfit(p, orders, model, filters,
               [&](std::size_t k, Complex left) { sum += p.weight[k] * std::norm(left); });
  return sum;
}

// Share of the harmonics' energy that the model leaves.
double share_left(const Problem& p, const Orders& model, const Filters& filters) {
  double sum = 0.0;
  visit_misfit(p, p.orders, model, filters,
               [&](std::size_t, Complex left) { sum += std::norm(left); });
  return std::max(sum - p.noise, 0.01 * p.noise) / p.energy;
}

using Own = std::array<double, 2>;

// One shape, fitted.
struct Candidate {
  double cost = 1e300;
  double left = 1.0;
  Own own{};                // the shape's own figures
  std::size_t variant = 0;  // which of the family's variants
  Filters filters;
};

// A family of shapes: its harmonics for two figures and a variant, and what these may be.
template <class Series>
struct Family {
  Series series;  // (own figures, variant, orders)
  std::size_t variants;
  Own lowest, highest;
  Filters strongest;  // the most that is taken to lie behind
};
template <class Series>
Family(Series, std::size_t, Own, Own, Filters) -> Family<Series>;

// Corners to start from; what a family does not allow is left out.
constexpr std::array<Filters, 13> filter_starts{{{0.0, 0.0},
                                                 {0.0, 0.06},
                                                 {0.0, 0.2},
                                                 {0.0, 0.6},
                                                 {0.0, 1.5},
                                                 {0.1, 0.0},
                                                 {0.25, 0.0},
                                                 {0.6, 0.0},
                                                 {1.2, 0.0},
                                                 {2.0, 0.0},
                                                 {0.1, 0.06},
                                                 {0.4, 0.2},
                                                 {1.0, 0.6}}};
// A start is chosen by the low orders: the higher ones go through many minima on the way.
constexpr std::size_t first_orders = 9;

template <class Series>
Candidate improved(const Problem& p, std::size_t orders, const Family<Series>& family,
                   const Candidate& start) {
  constexpr int rounds = 90;
  const auto inside = [&](const std::array<double, 4>& at) {
    Candidate c = start;
    for (std::size_t i = 0; i < 2; ++i)
      c.own[i] = std::clamp(at[i], family.lowest[i], family.highest[i]);
    c.filters = {std::clamp(at[2], 0.0, family.strongest.high_pass),
                 std::clamp(at[3], 0.0, family.strongest.low_pass)};
    return c;
  };
  const auto value = [&](const std::array<double, 4>& at) {
    const Candidate c = inside(at);
    return cost(p, orders, family.series(c.own, c.variant, orders), c.filters);
  };
  const auto step = [&](std::size_t i) {
    const double width = 0.1 * (family.highest[i] - family.lowest[i]);
    return start.own[i] + width > family.highest[i] ? -width : width;
  };
  const auto best = lower_by_simplex<4>(
      value, {start.own[0], start.own[1], start.filters.high_pass, start.filters.low_pass},
      {step(0), step(1), 0.1, 0.05}, rounds);
  Candidate c = inside(best.at);
  c.cost = best.value;
  return c;
}

template <class Series>
Candidate fitted(const Problem& p, const Family<Series>& family, std::span<const Own> starts) {
  constexpr std::size_t kept = 4;
  std::array<Candidate, kept> best;
  const std::size_t few = std::min(first_orders, p.orders);
  for (std::size_t variant = 0; variant < family.variants; ++variant) {
    for (const Own& own : starts) {
      const Orders model = family.series(own, variant, few);
      for (const Filters& filters : filter_starts) {
        if (filters.high_pass > family.strongest.high_pass ||
            filters.low_pass > family.strongest.low_pass)
          continue;
        const double here = cost(p, few, model, filters);
        if (here >= best.back().cost) continue;
        best.back() = {here, 1.0, own, variant, filters};
        std::sort(best.begin(), best.end(),
                  [](const Candidate& a, const Candidate& b) { return a.cost < b.cost; });
      }
    }
  }
  Candidate result;
  for (const Candidate& start : best) {
    if (start.cost >= 1e300) continue;
    const Candidate c = improved(p, few, family, start);
    if (c.cost < result.cost) result = c;
  }
  if (few < p.orders) result = improved(p, p.orders, family, result);
  result.left = share_left(p, family.series(result.own, result.variant, p.orders), result.filters);
  return result;
}

// Behind rails: a high-pass three times above the tone, or a low-pass a third below it, leaves
// little of the tone. Behind the other faults: a capacitor, and the capture's own low-pass.
constexpr Filters any_filters{3.0, 3.0};
constexpr Filters plain_filters{0.8, 0.25};

Candidate fit_rails(const Problem& p) {
  static constexpr std::array<Own, 18> starts{{{0.2, 0.2},
                                               {0.35, 0.35},
                                               {0.5, 0.5},
                                               {0.7, 0.7},
                                               {0.9, 0.9},
                                               {1.2, 1.2},
                                               {0.25, 0.0},
                                               {0.4, 0.0},
                                               {0.6, 0.0},
                                               {0.8, 0.0},
                                               {1.1, 0.0},
                                               {0.0, 0.25},
                                               {0.0, 0.4},
                                               {0.0, 0.6},
                                               {0.0, 0.8},
                                               {0.0, 1.1},
                                               {0.7, 0.4},
                                               {0.4, 0.7}}};
  const Family family{[](const Own& own, std::size_t, std::size_t orders) {
                        return shape::clipped(own[0], own[1], orders);
                      },
                      1,
                      {0.0, 0.0},
                      {1.5, 1.5},
                      any_filters};
  return fitted(p, family, starts);
}

Candidate fit_dead_zone(const Problem& p) {
  static constexpr std::array<Own, 10> starts{{{0.005, 1.0},
                                               {0.02, 1.0},
                                               {0.02, 0.4},
                                               {0.06, 1.0},
                                               {0.06, 0.4},
                                               {0.15, 1.0},
                                               {0.15, 0.4},
                                               {0.35, 1.0},
                                               {0.35, 0.4},
                                               {0.55, 1.0}}};
  const Family family{[](const Own& own, std::size_t, std::size_t orders) {
                        return shape::dead_zone(own[0], own[1], orders);
                      },
                      1,
                      {0.001, 0.05},
                      {0.7, 1.0},
                      plain_filters};
  return fitted(p, family, starts);
}

Candidate fit_slew(const Problem& p) {
  static constexpr std::array<Own, 7> starts{
      {{0.3, 0.0}, {0.6, 0.0}, {0.7, 0.0}, {0.8, 0.0}, {0.9, 0.0}, {0.97, 0.0}, {1.1, 0.0}}};
  const Family family{[](const Own& own, std::size_t variant, std::size_t orders) {
                        return shape::slew_limited(own[0], variant, orders);
                      },
                      shape::slew_bandwidths,
                      {0.1, 0.0},
                      {1.2, 1.0},
                      plain_filters};
  return fitted(p, family, starts);
}

// A knee on both rails or on either.
Candidate fit_knee(const Problem& p, double lowest_middle, const Filters& strongest) {
  static constexpr std::array<Own, 9> starts{{{1.0, 0.01},
                                              {1.0, 0.05},
                                              {1.0, 0.2},
                                              {1.1, 0.05},
                                              {1.2, 0.2},
                                              {1.5, 0.3},
                                              {0.8, 0.3},
                                              {2.5, 0.4},
                                              {0.6, 0.45}}};
  const Family family{[](const Own& own, std::size_t variant, std::size_t orders) {
                        return shape::knee(own[0], own[1], variant != 2, variant != 1, orders);
                      },
                      3,
                      {lowest_middle, 0.001},
                      {5.0, 0.5},
                      strongest};
  return fitted(p, family, starts);
}

// A law without memory, whatever it is: its harmonics are real about the crest, once the filters
// are undone. What is left is their imaginary part.
struct Quadrature {
  double left = 1.0;
  Filters filters;
};

double imaginary_cost(const Problem& p, const Filters& filters) {
  const Complex first = through(filters, 1.0);
  const Complex step = first / std::abs(first);
  Complex turn = step;
  double sum = 0.0;
  for (std::size_t k = 2; k <= p.orders; ++k) {
    turn *= step;
    const Complex gain = through(filters, static_cast<double>(k)) * std::abs(1.0 / first);
    const double q = (p.ratio[k] * turn * std::conj(gain) / std::abs(gain)).imag();
    sum += std::max(q * q - p.sigma[k] * p.sigma[k], 0.0);
  }
  return sum / p.energy;
}

// Real part of order k before the filters.
double real_part(const Problem& p, const Filters& filters, std::size_t k) {
  const Complex first = through(filters, 1.0);
  const Complex gain = through(filters, static_cast<double>(k)) / std::abs(first);
  const Complex turn = std::polar(1.0, static_cast<double>(k) * std::arg(first));
  return (p.ratio[k] * turn / gain).real();
}

// Only what any capture has: capacitors below the tone, nothing that turns phases at will.
Quadrature fit_quadrature(const Problem& p) {
  constexpr double highest_coupling_hz = 40.0;
  constexpr int steps = 24;
  Quadrature best;
  for (int i = 0; i <= steps; ++i) {
    const Filters filters{highest_coupling_hz / p.fundamental_hz * i / steps, 0.0};
    const double left = imaginary_cost(p, filters);
    if (left < best.left) best = {left, filters};
  }
  return best;
}

Decibels decibels_of(double share) {
  return Decibels(10.0 * std::log10(std::max(share, 1e-12)));
}

Decibels over(double angle) {
  return Decibels(-20.0 * std::log10(std::cos(angle)));
}

// Whether it is a low-order bend: what is smooth has its energy in the first few harmonics.
bool is_smooth(const Problem& p) {
  constexpr std::size_t low_orders = 5;
  constexpr double rest = 0.02;
  double high = 0.0;
  for (std::size_t k = low_orders + 1; k <= p.orders; ++k)
    high += std::norm(p.ratio[k]) - 2.0 * p.sigma[k] * p.sigma[k];
  return high < rest * p.energy;
}

void describe_bend(const Problem& p, const Filters& filters, ShapeFit& out) {
  double even = 0.0;
  double odd = 0.0;
  double crest = 0.0;  // what orders 2 and up add at the crests, both together
  for (std::size_t k = 2; k <= p.orders; ++k) {
    const double value = real_part(p, filters, k);
    if (std::abs(value) < 3.0 * p.sigma[k]) continue;
    (k % 2 == 0 ? even : odd) += value * value;
    if (k % 2 == 1) crest += value;
  }
  out.even = even > odd;
  out.compressed = crest <= 0.0;
}

struct Candidates {
  Candidate rails, dead_zone, slew;
  Candidate knee;  // behind what any capture has
  Candidate bend;  // whose crest keeps half of the gain or more, behind any filters
  Quadrature quadrature;
};

Candidates candidates_of(const Problem& p) {
  constexpr double crest_in_the_middle = 1.0;
  return {fit_rails(p),
          fit_dead_zone(p),
          fit_slew(p),
          fit_knee(p, 0.3, plain_filters),
          fit_knee(p, crest_in_the_middle, any_filters),
          fit_quadrature(p)};
}

// A tenth of the energy left is a shape that is met; a circuit's dead zone has no sharp edges.
constexpr double met = 0.1;
// Rails are claimed of less: a claim of clipping has to be sure.
constexpr double rails_met = 0.01;
// What a shape leaves has to be this many times less than what any other one leaves.
constexpr double clearly_less = 4.0;
constexpr double rails_clearly_less = 10.0;
// One harmonic alone is anything; rails show in many.
constexpr int least_seen = 2;
constexpr int least_seen_rails = 5;
// A crest whose gain is below a tenth of that in the middle is flat, as in fit_clipped_sine.
constexpr double flat_slope = 0.1;

bool is_flat_knee(const Candidate& knee) {
  return clip::crest_of(knee.own[0], knee.own[1]).slope < flat_slope;
}

void describe_rails(const Problem& p, const Candidates& all, ShapeFit& out) {
  const auto side = [](double angle) -> std::optional<Decibels> {
    constexpr double trace = 0.02;  // radians: 0.002 dB
    if (angle < trace) return std::nullopt;
    return over(angle);
  };
  out.over_positive = side(all.rails.own[0]);
  out.over_negative = side(all.rails.own[1]);
  // A capacitor a tenth below the tone tilts no top, and what lies above 12 kHz is the capture's.
  constexpr double least_high_pass = 0.1;
  constexpr double highest_low_pass_hz = 12000.0;
  const Filters& filters = all.rails.filters;
  if (filters.high_pass > least_high_pass)
    out.high_pass = Hertz(filters.high_pass * p.fundamental_hz);
  if (filters.low_pass * highest_low_pass_hz > p.fundamental_hz)
    out.low_pass = Hertz(p.fundamental_hz / filters.low_pass);
}

struct Ranked {
  WaveShape shape = WaveShape::unknown;
  double left = 1.0;
  double next = 1.0;  // what the best of the other shapes leaves
};

Ranked ranked(const Problem& p, const Candidates& all) {
  double bend = std::min(all.bend.left, is_flat_knee(all.knee) ? 1.0 : all.knee.left);
  // Any two harmonics in phase are some law without memory: a shape that meets them closely is
  // more.
  constexpr double closely = 0.02;
  if (is_smooth(p)) bend = std::min(bend, std::max(all.quadrature.left, closely));
  const std::array<std::pair<WaveShape, double>, 4> list{
      {{WaveShape::bend, bend},
       {WaveShape::rails, all.rails.left},
       {WaveShape::dead_zone, all.dead_zone.left},
       {WaveShape::slew, all.slew.left}}};
  Ranked best;
  for (const auto& [shape, left] : list) {
    if (left < best.left)
      best = {shape, left, best.left};
    else
      best.next = std::min(best.next, left);
  }
  return best;
}

bool is_met(const Problem& p, const Ranked& best) {
  switch (best.shape) {
    case WaveShape::rails:
      return p.seen >= least_seen_rails && best.left < rails_met &&
             best.left * rails_clearly_less < best.next;
    case WaveShape::dead_zone:
    case WaveShape::slew:
      return p.seen >= least_seen && best.left < met && best.left * clearly_less < best.next;
    case WaveShape::bend:
      return best.left < met;
    case WaveShape::plain:
    case WaveShape::unknown:
      return false;
  }
  return false;
}

}  // namespace

std::size_t passed_orders(const HarmonicSeries& tone) {
  constexpr double fall = 0.3548;  // 9 dB
  const std::size_t orders = std::min({tone.phasor.size(), tone.sigma.size(), most_orders});
  for (std::size_t k = 2; k < orders; ++k) {
    const std::size_t octave = std::min(2 * k, orders);
    for (std::size_t above = k + 1; above <= octave; ++above) {
      if (tone.sigma[above - 1] < fall * tone.sigma[k - 1]) return k;
    }
  }
  return std::max<std::size_t>(orders, 1);
}

ShapeFit fit_shape(const HarmonicSeries& tone, Hertz highest) {
  constexpr std::size_t least_orders = 3;
  ShapeFit out;
  const Problem p = problem_of(tone, highest.value());
  if (p.orders < least_orders) return out;
  if (p.seen == 0 || p.energy <= 0.0) {
    out.shape = WaveShape::plain;
    return out;
  }
  const Candidates all = candidates_of(p);
  const Ranked best = ranked(p, all);
  out.misfit = decibels_of(best.left);
  out.margin = decibels_of(best.next) - out.misfit;
  if (!is_met(p, best)) return out;
  out.shape = best.shape;
  if (best.shape == WaveShape::rails) describe_rails(p, all, out);
  if (best.shape == WaveShape::dead_zone) out.dead_share = Percent(100.0 * all.dead_zone.own[0]);
  if (best.shape == WaveShape::slew) out.speed = Percent(100.0 * all.slew.own[0]);
  if (best.shape == WaveShape::bend) describe_bend(p, all.quadrature.filters, out);
  return out;
}

}  // namespace railtap::measure
