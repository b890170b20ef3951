// SPDX-License-Identifier: MIT
// Tones with a known law, for the tests of everything that looks for flat tops.
#include "support/clipped_tone.hpp"

#include <algorithm>
#include <cmath>
#include <kissfft/kissfft.hh>
#include <map>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::test {
namespace {

using Complex = std::complex<double>;
using std::numbers::pi;

/// an of the published one-sided series, order n >= 1, as a positive number: what is cut off.
double cut_off(double overdrive_db, std::size_t order) {
  if (overdrive_db <= 0.0) return 0.0;
  const double p = std::acos(std::pow(10.0, -overdrive_db / 20.0));
  const double n = static_cast<double>(order);
  if (order == 1) return (p - std::sin(p) * std::cos(p)) / pi;
  return 2.0 / pi * (std::sin(n * p) * std::cos(p) - n * std::cos(n * p) * std::sin(p)) /
         (n * (n * n - 1.0));
}

// So many samples at a time, for one alone would wait for the one before.
constexpr std::size_t at_once = 16;

RAILTAP_VECTORIZE void add_turning_by(double* x, std::size_t count, double* re, double* im,
                                      Complex step) {
  const double c = step.real(), s = step.imag();
  for (std::size_t first = 0; first + at_once <= count; first += at_once) {
#pragma omp simd
    for (std::size_t k = 0; k < at_once; ++k) {
      x[first + k] += re[k];
      const double next = re[k] * c - im[k] * s;
      im[k] = re[k] * s + im[k] * c;
      re[k] = next;
    }
  }
}

// One cycle of a sine, one for each number of points.
const std::vector<double>& sine_cycle(std::size_t points) {
  static std::map<std::size_t, std::vector<double>> cycles;
  std::vector<double>& cycle = cycles[points];
  for (std::size_t i = cycle.size(); i < points; ++i)
    cycle.push_back(std::sin(2.0 * pi * static_cast<double>(i) / static_cast<double>(points)));
  return cycle;
}

// Of half as many complex values: it takes real ones in pairs.
const kissfft<double>& transform_of(std::size_t points) {
  static std::map<std::size_t, kissfft<double>> transforms;
  return transforms.try_emplace(points, points / 2, false).first->second;
}

double noise_sigma(const Recorded& as) {
  return as.amplitude / std::numbers::sqrt2 * std::pow(10.0, -as.snr_db / 20.0);
}

}  // namespace

Phasors clipped_sine(double positive_db, double negative_db, std::size_t orders) {
  Phasors tone(orders);
  Complex turn(0.0, -1.0);  // (−j)^n: the series runs from the crest, a quarter of a cycle later
  for (std::size_t n = 1; n <= orders; ++n) {
    const double side = n % 2 == 0 ? 1.0 : -1.0;
    const double whole = n == 1 ? 1.0 : 0.0;
    tone[n - 1] = turn * (whole - cut_off(positive_db, n) + side * cut_off(negative_db, n));
    turn *= Complex(0.0, -1.0);
  }
  return tone;
}

Phasors harmonics_of_cycle(const std::vector<double>& cycle, std::size_t orders) {
  std::vector<Complex> out(cycle.size() / 2);
  transform_of(cycle.size()).transform_real(cycle.data(), out.data());
  Phasors tone(orders);
  for (std::size_t n = 1; n <= orders; ++n)
    tone[n - 1] = out[n] * (2.0 / static_cast<double>(cycle.size()));
  return tone;
}

Phasors shaped_sine(const Law& law, std::size_t orders, std::size_t points) {
  const std::vector<double>& sine = sine_cycle(points);
  std::vector<double> cycle(points);
  // The second quarter is the first one backwards, the third one the fourth.
  const std::size_t quarter = points / 4;
  for (std::size_t i = 0; i <= quarter; ++i) {
    cycle[quarter - i] = cycle[quarter + i] = law(sine[quarter - i]);
    cycle[3 * quarter - i] = cycle[(3 * quarter + i) % points] = law(sine[3 * quarter - i]);
  }
  return harmonics_of_cycle(cycle, orders);
}

std::vector<double> slew_limited_cycle(double limit) {
  std::vector<double> cycle(8192);
  const std::vector<double>& sine = sine_cycle(cycle.size());
  const double step = 2.0 * pi / static_cast<double>(cycle.size());
  double value = 0.0;
  for (int settle = 0; settle < 6; ++settle) {
    for (std::size_t i = 0; i < cycle.size(); ++i) {
      value += std::clamp(sine[i] - value, -limit * step, limit * step);
      cycle[i] = value;
    }
  }
  return cycle;
}

Response coupling(double corner_hz) {
  return [corner_hz](double hz) { return 1.0 / Complex(1.0, -corner_hz / hz); };
}
Response one_pole(double corner_hz) {
  return [corner_hz](double hz) { return 1.0 / Complex(1.0, hz / corner_hz); };
}
Response butterworth4(double corner_hz) {
  return [corner_hz](double hz) {
    const Complex s(0.0, hz / corner_hz);
    return 1.0 / ((s * s + 2.0 * std::cos(3.0 * pi / 8.0) * s + 1.0) *
                  (s * s + 2.0 * std::cos(pi / 8.0) * s + 1.0));
  };
}
Response steep(double corner_hz) {
  return [corner_hz](double hz) {
    return Complex(1.0 / std::sqrt(1.0 + std::pow(hz / corner_hz, 24.0)), 0.0);
  };
}

Phasors through(Phasors tone, double fundamental_hz, const Response& chain) {
  for (std::size_t n = 1; n <= tone.size(); ++n) {
    tone[n - 1] *= chain(static_cast<double>(n) * fundamental_hz);
  }
  return tone;
}

measure::HarmonicSeries series_of(const Phasors& tone, const Recorded& as, Random& random) {
  const double sigma = noise_sigma(as) * std::sqrt(2.0 / (as.rate * as.seconds));
  Gaussian noise(0.0, sigma);
  measure::HarmonicSeries series;
  series.fundamental = Hertz(as.fundamental_hz);
  for (const Complex& phasor : tone) {
    const double re = noise(random);
    series.phasor.push_back(as.amplitude * phasor + Complex(re, noise(random)));
    series.sigma.push_back(sigma);
  }
  const double turn = std::arg(series.phasor[0] * Complex(0.0, 1.0));
  for (std::size_t n = 1; n <= tone.size(); ++n) {
    series.phasor[n - 1] *= std::polar(1.0, -static_cast<double>(n) * turn);
  }
  return series;
}

void add_turning(std::span<double> x, Complex start, Complex step) {
  double re[at_once], im[at_once];
  Complex turn(1.0, 0.0);
  for (std::size_t k = 0; k < at_once; ++k) {
    re[k] = (start * turn).real();
    im[k] = (start * turn).imag();
    turn *= step;
  }
  add_turning_by(x.data(), x.size(), re, im, turn);
  const std::size_t left = x.size() % at_once;
  for (std::size_t k = 0; k < left; ++k) x[x.size() - left + k] += re[k];
}

std::vector<double> samples_of(const Phasors& tone, const Recorded& as, int bits, Random& random) {
  Gaussian noise(0.0, noise_sigma(as));
  std::vector<double> x(static_cast<std::size_t>(as.rate * as.seconds), 0.0);
  const double start = 2.0 * pi * random.uniform();
  const double omega = 2.0 * pi * as.fundamental_hz / as.rate;
  constexpr double negligible = 1e-12;
  for (std::size_t n = 1; n <= tone.size(); ++n) {
    const double k = static_cast<double>(n);
    if (k * as.fundamental_hz >= 0.5 * as.rate) break;
    if (std::abs(tone[n - 1]) < negligible) continue;
    add_turning(x, as.amplitude * tone[n - 1] * std::polar(1.0, k * start),
                std::polar(1.0, k * omega));
  }
  const double code = bits > 0 ? std::ldexp(1.0, 1 - bits) : 0.0;
  for (double& value : x) {
    value += noise(random);
    if (bits > 0) {
      value = code * std::round(value / code + random.uniform() - random.uniform());
      value = std::clamp(value, -1.0, 1.0 - code);
    }
  }
  return x;
}

}  // namespace railtap::test
