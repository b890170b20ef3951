// SPDX-License-Identifier: MIT
// Tones with a known law, for the tests of everything that looks for flat tops.
#include "support/clipped_tone.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

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
  Phasors tone(orders);
  const double size = static_cast<double>(cycle.size());
  for (std::size_t n = 1; n <= orders; ++n) {
    const Complex step = std::polar(1.0, -2.0 * pi * static_cast<double>(n) / size);
    Complex turn(1.0, 0.0), sum(0.0, 0.0);
    for (const double value : cycle) {
      sum += value * turn;
      turn *= step;
    }
    tone[n - 1] = sum * (2.0 / size);
  }
  return tone;
}

Phasors shaped_sine(const Law& law, std::size_t orders, std::size_t points) {
  std::vector<double> cycle(points);
  for (std::size_t i = 0; i < cycle.size(); ++i) {
    cycle[i] = law(std::sin(2.0 * pi * static_cast<double>(i) / static_cast<double>(cycle.size())));
  }
  return harmonics_of_cycle(cycle, orders);
}

std::vector<double> slew_limited_cycle(double limit) {
  std::vector<double> cycle(8192);
  const double step = 2.0 * pi / static_cast<double>(cycle.size());
  double value = 0.0;
  for (int settle = 0; settle < 6; ++settle) {
    for (std::size_t i = 0; i < cycle.size(); ++i) {
      const double target = std::sin(step * static_cast<double>(i));
      value += std::clamp(target - value, -limit * step, limit * step);
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

measure::HarmonicSeries series_of(const Phasors& tone, const Recorded& as,
                                  std::mt19937_64& random) {
  const double sigma = noise_sigma(as) * std::sqrt(2.0 / (as.rate * as.seconds));
  std::normal_distribution<double> noise(0.0, sigma);
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

std::vector<double> samples_of(const Phasors& tone, const Recorded& as, int bits,
                               std::mt19937_64& random) {
  std::uniform_real_distribution<double> uniform(0.0, 1.0);
  std::normal_distribution<double> noise(0.0, noise_sigma(as));
  std::vector<double> x(static_cast<std::size_t>(as.rate * as.seconds), 0.0);
  const double start = 2.0 * pi * uniform(random);
  const double omega = 2.0 * pi * as.fundamental_hz / as.rate;
  for (std::size_t n = 1; n <= tone.size(); ++n) {
    const double k = static_cast<double>(n);
    if (k * as.fundamental_hz >= 0.5 * as.rate) break;
    const Complex step = std::polar(1.0, k * omega);
    Complex turn = as.amplitude * tone[n - 1] * std::polar(1.0, k * start);
    for (double& value : x) {
      value += turn.real();
      turn *= step;
    }
  }
  const double code = bits > 0 ? std::ldexp(1.0, 1 - bits) : 0.0;
  for (double& value : x) {
    value += noise(random);
    if (bits > 0) {
      value = code * std::round(value / code + uniform(random) - uniform(random));
      value = std::clamp(value, -1.0, 1.0 - code);
    }
  }
  return x;
}

}  // namespace railtap::test
