// SPDX-License-Identifier: MIT
// Interpolation on a few measured points.
#include "judge/interpolate.hpp"

#include <algorithm>
#include <cmath>

namespace railtap::judge {
namespace {

double secant(std::span<const double> x, std::span<const double> y, std::size_t i) {
  return (y[i + 1] - y[i]) / (x[i + 1] - x[i]);
}

double slope_at(std::span<const double> x, std::span<const double> y, std::size_t i) {
  const std::size_t last = x.size() - 1;
  if (last == 1 || i == 0) return secant(x, y, 0);
  if (i == last) return secant(x, y, last - 1);
  const double before = secant(x, y, i - 1);
  const double after = secant(x, y, i);
  if (before * after <= 0.0) return 0.0;
  const double w1 = 2.0 * (x[i + 1] - x[i]) + (x[i] - x[i - 1]);
  const double w2 = (x[i + 1] - x[i]) + 2.0 * (x[i] - x[i - 1]);
  return (w1 + w2) / (w1 / before + w2 / after);
}

}  // namespace

double monotone_cubic(std::span<const double> x, std::span<const double> y, double at) {
  at = std::clamp(at, x.front(), x.back());
  std::size_t i = 0;
  while (i + 2 < x.size() && at > x[i + 1]) ++i;
  const double length = x[i + 1] - x[i];
  const double t = (at - x[i]) / length;
  const double d0 = slope_at(x, y, i) * length;
  const double d1 = slope_at(x, y, i + 1) * length;
  const double rise = y[i + 1] - y[i];
  return y[i] + t * (d0 + t * (3.0 * rise - 2.0 * d0 - d1 + t * (d0 + d1 - 2.0 * rise)));
}

double bisect(const std::function<double(double)>& f, double low, double high) {
  for (int i = 0; i < 30; ++i) {
    const double middle = 0.5 * (low + high);
    (f(middle) < 0.0 ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

}  // namespace railtap::judge
