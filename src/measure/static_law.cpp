// SPDX-License-Identifier: MIT
// The law of a stage as a Chebyshev series.
#include "measure/static_law.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

using std::numbers::pi;
using Complex = std::complex<double>;

constexpr double highest_coupling_hz = 40.0;
constexpr int coupling_rounds = 3;
constexpr int coupling_points = 20;
constexpr std::size_t cycle_points = 720;
constexpr std::size_t most_orders = 100;

// Σ over the harmonics of the squared quadrature part, in units of its variance.
double quadrature(const HarmonicSeries& tone, std::size_t orders, double corner_hz) {
  double sum = 0.0;
  for (std::size_t k = 2; k <= orders; ++k) {
    const double q = before_coupling(tone, k, Hertz(corner_hz)).imag() / tone.sigma[k - 1];
    sum += q * q;
  }
  return sum;
}

double find_coupling(const HarmonicSeries& tone, std::size_t orders) {
  double best = 0.0;
  double low = 0.0;
  double high = highest_coupling_hz;
  for (int round = 0; round < coupling_rounds; ++round) {
    double least = quadrature(tone, orders, best);
    const double step = (high - low) / coupling_points;
    for (int i = 0; i <= coupling_points; ++i) {
      const double corner = low + step * i;
      const double value = quadrature(tone, orders, corner);
      if (value >= least) continue;
      least = value;
      best = corner;
    }
    low = std::max(0.0, best - step);
    high = best + step;
  }
  return best;
}

// Half a cycle: the output is even about the crest. Some more, so that it is a whole number of
// `at_once`.
constexpr std::size_t half = cycle_points / 2;
constexpr std::size_t at_once = 16;
using HalfCycle = std::array<double, (half / at_once + 1) * at_once>;

// cos(2π·n/cycle_points), 0 behind the half cycle.
const HalfCycle& cosines() {
  static const HalfCycle table = [] {
    HalfCycle values{};
    for (std::size_t n = 0; n <= half; ++n) {
      values[n] = std::cos(2.0 * pi * static_cast<double>(n) / double{cycle_points});
    }
    return values;
  }();
  return table;
}

// Clenshaw's recurrence, at ratio·cosine.
RAILTAP_VECTORIZE void evaluate_some(const double* chebyshev, std::size_t orders, double ratio,
                                     const double* cosine, double* y) {
  double twice[at_once], next[at_once] = {}, after[at_once] = {};
  for (std::size_t n = 0; n < at_once; ++n) twice[n] = 2.0 * ratio * cosine[n];
  for (std::size_t k = orders; k > 0; --k) {
#pragma omp simd
    for (std::size_t n = 0; n < at_once; ++n) {
      const double here = chebyshev[k] + twice[n] * next[n] - after[n];
      after[n] = next[n];
      next[n] = here;
    }
  }
  for (std::size_t n = 0; n < at_once; ++n)
    y[n] = chebyshev[0] + 0.5 * twice[n] * next[n] - after[n];
}

HalfCycle evaluate(const StaticLaw& law, double ratio) {
  const HalfCycle& cosine = cosines();
  HalfCycle y;
  if (law.rails) {
    const auto& [slope, positive, negative] = *law.rails;
    for (std::size_t n = 0; n < y.size(); ++n)
      y[n] = std::clamp(slope * ratio * cosine[n], -negative, positive);
  } else {
    for (std::size_t n = 0; n < y.size(); n += at_once)
      evaluate_some(law.chebyshev.data(), law.chebyshev.size() - 1, ratio, &cosine[n], &y[n]);
  }
  return y;
}

// Σ y·cos kθ, and on to the next order. \param here, before cos kθ and cos (k − 1)θ
RAILTAP_VECTORIZE double sum_of_order(const double* y, const double* cosine, double* here,
                                      double* before) {
  double sum = 0.0;
#pragma omp simd reduction(+ : sum)
  for (std::size_t n = 0; n < std::tuple_size_v<HalfCycle>; ++n) {
    const double at = here[n];
    sum += y[n] * at;
    here[n] = 2.0 * cosine[n] * at - before[n];
    before[n] = at;
  }
  return sum;
}

}  // namespace

std::complex<double> before_coupling(const HarmonicSeries& tone, std::size_t order, Hertz corner) {
  const double f = tone.fundamental.value();
  const auto k = static_cast<double>(order);
  const Complex response = Complex(0.0, k * f) / Complex(corner.value(), k * f);
  const double turn = std::arg(Complex(0.0, f) / Complex(corner.value(), f));
  const Complex to_crest = std::polar(1.0, k * (0.5 * pi + turn));
  return tone.phasor[order - 1] * to_crest / response;
}

StaticLaw law_of(const HarmonicSeries& tone, std::size_t orders) {
  orders = std::min(orders, tone.phasor.size());
  StaticLaw law;
  law.fundamental = tone.fundamental;
  law.coupling = Hertz(find_coupling(tone, orders));
  law.chebyshev.assign(orders + 1, 0.0);
  double all = 0.0;
  double odd = 0.0;
  double noise = 0.0;
  for (std::size_t k = 1; k <= orders; ++k) {
    const Complex harmonic = before_coupling(tone, k, law.coupling);
    law.chebyshev[k] = harmonic.real();
    if (k == 1) continue;
    all += std::norm(harmonic);
    odd += harmonic.imag() * harmonic.imag();
    noise += tone.sigma[k - 1] * tone.sigma[k - 1];
  }
  if (all > 0.0) law.misfit = std::sqrt(std::max(0.0, odd - noise) / all);
  return law;
}

Crests crests_of(const HarmonicSeries& tone, std::size_t orders, Hertz coupling) {
  // Orders in the noise would add it and nothing else: hundreds of them at a low tone.
  constexpr double least_significance = 3.0;
  // What the orders beyond the last add is of the size of these together: they fall, and alternate.
  constexpr std::size_t tail_orders = 3;
  orders = std::min(orders, tone.phasor.size());
  Crests crests;
  double odd = 0.0;
  double even = 0.0;
  double even_at_zero = 0.0;
  double noise = 0.0;
  double last = 0.0;
  for (std::size_t k = 1; k <= orders; ++k) {
    const double sigma = tone.sigma[k - 1];
    const double value = before_coupling(tone, k, coupling).real();
    if (std::abs(value) < least_significance * sigma) continue;
    noise += sigma * sigma;
    if (k + tail_orders > orders) last += std::abs(value);
    if (k % 2 == 1) {
      odd += value;
    } else {
      even += value;
      even_at_zero += k % 4 == 0 ? value : -value;
    }
  }
  crests.positive = odd + even - even_at_zero;
  crests.negative = odd - even + even_at_zero;
  crests.sigma = std::hypot(std::sqrt(noise), last);
  return crests;
}

LawOutput output_of(const StaticLaw& law, double ratio, std::size_t orders) {
  orders = std::min(orders, most_orders);
  HalfCycle y = evaluate(law, ratio);
  y[0] *= 0.5;
  y[half] *= 0.5;
  std::fill(y.begin() + half + 1, y.end(), 0.0);
  const HalfCycle& cosine = cosines();
  HalfCycle here = cosine, before;
  before.fill(1.0);
  LawOutput output;
  for (std::size_t k = 1; k <= orders; ++k) {
    const double sum = sum_of_order(y.data(), cosine.data(), here.data(), before.data());
    const double amplitude = sum / (0.5 * half);
    const double corner = law.coupling.value() / (law.fundamental.value() * static_cast<double>(k));
    (k == 1 ? output.fundamental : output.harmonics) +=
        0.5 * amplitude * amplitude / (1.0 + corner * corner);
  }
  return output;
}

}  // namespace railtap::measure
