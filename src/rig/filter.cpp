// SPDX-License-Identifier: MIT
// Filters in topology-preserving form: coefficients and the loops.
#include "rig/filter.hpp"

#include <cmath>
#include <numbers>

namespace railtap::rig {
namespace {

double prewarped(Hertz corner, Hertz rate) {
  return std::tan(std::numbers::pi * (corner / rate));
}

TwoPoles two_poles(double g, double quality) {
  const double damping = 1.0 / quality;
  return {g, damping, 1.0 / (1.0 + g * (g + damping)), 0.0, 0.0};
}

void process(TwoPoles& poles, Pass pass, std::span<double> block) {
  for (double& x : block) {
    const double high = (x - (poles.damping + poles.g) * poles.band - poles.low) * poles.factor;
    const double band = poles.g * high + poles.band;
    const double low = poles.g * band + poles.low;
    poles.band = band + poles.g * high;
    poles.low = low + poles.g * band;
    x = pass == Pass::low ? low : high;
  }
}

}  // namespace

OnePole one_pole(Hertz corner, Hertz rate) {
  const double g = prewarped(corner, rate);
  return {g / (1.0 + g), 0.0};
}

Filter make_filter(Pass pass, const FilterSetting& setting, Hertz rate) {
  Filter filter;
  filter.pass = pass;
  if (setting.order == 0) return filter;
  const double g = prewarped(setting.corner, rate);
  if (setting.order % 2 != 0) {
    filter.has_one = true;
    filter.one = one_pole(setting.corner, rate);
  }
  // Butterworth poles lie evenly on a circle: Q = 1/(2·cos of the pair's angle to the axis).
  const int pairs = setting.order / 2;
  for (int k = 0; k < pairs; ++k) {
    const double angle = std::numbers::pi * (2 * k + 1) / (2.0 * setting.order);
    filter.two.push_back(two_poles(g, 1.0 / (2.0 * std::sin(angle))));
  }
  return filter;
}

void process(Filter& filter, std::span<double> block) {
  if (filter.has_one) {
    for (double& x : block) x = filter.pass == Pass::low ? filter.one.low(x) : filter.one.high(x);
  }
  for (TwoPoles& poles : filter.two) process(poles, filter.pass, block);
}

void couple(OnePole& pole, std::span<double> block) {
  for (double& x : block) x = pole.high(x);
}

}  // namespace railtap::rig
