// SPDX-License-Identifier: MIT
// The A frequency weighting from its pole frequencies.
#include "measure/weighting.hpp"

#include <cmath>

namespace railtap::measure {
namespace {

// Pole frequencies in hertz and the level at 1 kHz that normalises the curve [IEC 61672-1:2013,
// annex E].
constexpr double pole1_hz = 20.598997;
constexpr double pole2_hz = 107.65265;
constexpr double pole3_hz = 737.86223;
constexpr double pole4_hz = 12194.217;
constexpr double normalisation_db = 2.000;

}  // namespace

Decibels a_weighting(Hertz frequency) {
  const double f2 = frequency.value() * frequency.value();
  const double numerator = pole4_hz * pole4_hz * f2 * f2;
  const double denominator = (f2 + pole1_hz * pole1_hz) *
                             std::sqrt((f2 + pole2_hz * pole2_hz) * (f2 + pole3_hz * pole3_hz)) *
                             (f2 + pole4_hz * pole4_hz);
  return Decibels(20.0 * std::log10(numerator / denominator) + normalisation_db);
}

}  // namespace railtap::measure
