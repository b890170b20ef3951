// SPDX-License-Identifier: MIT
// A law whose slope falls from one to nothing at either rail.
#include "measure/knee_law.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::measure {
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
  const auto count = static_cast<std::size_t>(highest_input / input_step) + 2;
  std::vector<double> taken(count, 0.0);
  double before = 0.0;
  for (std::size_t i = 1; i < count; ++i) {
    const double x = input_step * static_cast<double>(i);
    const double lost = 1.0 - std::pow(1.0 + std::pow(x, shape.sharpness), -shape.depth);
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

double KneeShape::input_at(double slope) const {
  return std::pow(std::pow(slope, -1.0 / depth) - 1.0, 1.0 / sharpness);
}

KneeTable::KneeTable(const KneeShape& shape, std::size_t orders)
    : orders_(std::clamp<std::size_t>(orders, 1, most_orders)), rows_(rows * orders_) {
  const std::vector<double> taken = taken_by(shape);
  const auto& cosine = cosines();
  Quarter piece;
  for (std::size_t row = 0; row < rows; ++row) {
    const double amplitude = std::exp(first_ln + step_ln * static_cast<double>(row));
    for (std::size_t n = 0; n < angles; ++n) {
      const double place = std::min(amplitude * cosine[1][n], highest_input) / input_step;
      const auto i = static_cast<std::size_t>(place);
      piece[n] = taken[i] + (place - static_cast<double>(i)) * (taken[i + 1] - taken[i]);
    }
    for (std::size_t k = 1; k <= orders_; ++k) {
      rows_[row * orders_ + k - 1] = product(piece, cosine[k]);
    }
  }
}

void KneeTable::at(double ln_amplitude, double* taken) const {
  const double place = std::clamp((ln_amplitude - first_ln) / step_ln, 0.0, double{rows - 1});
  // Cubics through four neighbours, with the slopes of Catmull and Rom.
  const auto i = std::clamp<std::size_t>(static_cast<std::size_t>(place), 1, rows - 3);
  const double t = place - static_cast<double>(i);
  const double w0 = 0.5 * t * (t * (2.0 - t) - 1.0);
  const double w1 = 0.5 * (t * t * (3.0 * t - 5.0) + 2.0);
  const double w2 = 0.5 * t * (t * (4.0 - 3.0 * t) + 1.0);
  const double w3 = 0.5 * t * t * (t - 1.0);
  const double* row = rows_.data() + (i - 1) * orders_;
  for (std::size_t k = 0; k < orders_; ++k) {
    taken[k] =
        w0 * row[k] + w1 * row[orders_ + k] + w2 * row[2 * orders_ + k] + w3 * row[3 * orders_ + k];
  }
}

}  // namespace railtap::measure
