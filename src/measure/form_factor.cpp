// SPDX-License-Identifier: MIT
// RMS over rectified mean of a measured tone: what an average-responding meter goes wrong by.
#include "measure/form_factor.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "units/error.hpp"

namespace railtap::measure {
namespace {

double at_phase(const HarmonicSeries& tone, double phase) {
  const std::complex<double> step = std::polar(1.0, phase);
  std::complex<double> turn = 1.0;
  double sum = 0.0;
  for (const auto& phasor : tone.phasor) {
    turn *= step;
    sum += (phasor * turn).real();
  }
  return sum;
}

}  // namespace

double form_factor(const HarmonicSeries& tone) {
  if (tone.phasor.empty() || !(std::abs(tone.phasor.front()) > 0.0)) {
    throw Error("there is no tone whose shape could be told", "form factor", "");
  }
  // The mean of |x| has corners at the zero crossings, where a sum over n points is good to 1/n².
  const std::size_t points = std::max<std::size_t>(4096, 16 * tone.phasor.size());
  double squares = 0.0, rectified = 0.0;
  for (std::size_t i = 0; i < points; ++i) {
    const double phase =
        2.0 * std::numbers::pi * (static_cast<double>(i) + 0.5) / static_cast<double>(points);
    const double x = at_phase(tone, phase);
    squares += x * x;
    rectified += std::abs(x);
  }
  const auto n = static_cast<double>(points);
  return std::sqrt(squares / n) / (rectified / n);
}

}  // namespace railtap::measure
