// SPDX-License-Identifier: MIT
// The harmonics of a sine behind the faults that change its shape.
#include "measure/shape_series.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <span>
#include <vector>

#include "measure/clipped_sine_model.hpp"

namespace railtap::measure::shape {
namespace {

using std::numbers::pi;

using Excess = std::array<double, most_orders + 1>;

// What a corner takes off the crest of a unit cosine.
Excess excess_of(double angle, std::size_t orders) {
  Excess excess{};
  std::array<double, most_orders + 2> chord;
  excess_series(angle, std::span(chord).first(orders + 2), std::span(excess).first(orders + 1));
  return excess;
}

Orders without(const Excess& up, const Excess& down, std::size_t orders) {
  Orders out{};
  for (std::size_t k = 1; k <= orders; ++k) {
    out[k] = (k == 1 ? 1.0 : 0.0) - up[k] + (k % 2 == 0 ? down[k] : -down[k]);
  }
  return out;
}

// The same of a knee: a mixture of straight falls of the gain, see clip::KneeLaw.
Excess knee_excess(double middle, double width, std::size_t orders) {
  Excess sum{};
  std::array<double, 4 * (most_orders + 3)> scratch;
  Excess excess, by_low, by_high;
  const std::size_t size = orders + 1;
  for (std::size_t node = 0; node < clip::KneeLaw::weight.size(); ++node) {
    const double reach = std::exp(width * clip::KneeLaw::half_width[node]);
    if (middle / reach >= 1.0) continue;
    knee_series(middle / reach, middle * reach, scratch,
                {std::span(excess).first(size), std::span(by_low).first(size),
                 std::span(by_high).first(size)});
    for (std::size_t k = 1; k <= orders; ++k) sum[k] += clip::KneeLaw::weight[node] * excess[k];
  }
  return sum;
}

// ---- the slew limit's table ----

constexpr std::size_t cycle_steps = 512;
constexpr int settling_cycles = 4;
constexpr std::size_t limits = 45;
constexpr double lowest_limit = 0.1;
constexpr double highest_limit = 1.2;
// Bandwidth over the tone's frequency; the last stands for one without end.
constexpr std::array<double, slew_bandwidths> bandwidths{2.0, 5.0, 12.0, 30.0, 0.0};

// One step of the output towards x.
double follow(double y, double x, double limit, double bandwidth) {
  constexpr double step = 2.0 * pi / cycle_steps;
  if (bandwidth == 0.0) return y + std::clamp(x - y, -limit * step, limit * step);
  const auto speed = [&](double from) { return limit * std::tanh((x - from) * bandwidth / limit); };
  return y + step * speed(y + 0.5 * step * speed(y));
}

using Cycle = std::vector<double>;

Cycle cosines() {
  Cycle table(cycle_steps);
  for (std::size_t n = 0; n < cycle_steps; ++n)
    table[n] = std::cos(2.0 * pi * static_cast<double>(n) / cycle_steps);
  return table;
}

Cycle slewed_cycle(double limit, double bandwidth, const Cycle& cosine) {
  Cycle cycle(cycle_steps);
  double y = 0.0;
  for (int round = 0; round < settling_cycles; ++round) {
    for (std::size_t n = 0; n < cycle_steps; ++n) {
      y = follow(y, cosine[n], limit, bandwidth);
      cycle[n] = y;
    }
  }
  return cycle;
}

// Odd orders only: what rises as it falls has no others.
Orders odd_orders(const Cycle& cycle, const Cycle& cosine) {
  constexpr std::size_t quarter = cycle_steps / 4;
  Orders out{};
  for (std::size_t k = 1; k <= most_orders; k += 2) {
    double in_phase = 0.0;
    double quadrature = 0.0;
    for (std::size_t n = 0; n < cycle_steps; ++n) {
      in_phase += cycle[n] * cosine[k * n % cycle_steps];
      quadrature += cycle[n] * cosine[(k * n + quarter) % cycle_steps];  // −sine
    }
    out[k] = std::complex(in_phase, quadrature) * (2.0 / cycle_steps);
  }
  return out;
}

double limit_at(std::size_t index) {
  return lowest_limit + (highest_limit - lowest_limit) * static_cast<double>(index) / (limits - 1);
}

using SlewTable = std::vector<std::array<Orders, limits>>;

const SlewTable& slew_table() {
  static const SlewTable table = [] {
    SlewTable made(slew_bandwidths);
    const Cycle cosine = cosines();
    for (std::size_t b = 0; b < slew_bandwidths; ++b) {
      for (std::size_t i = 0; i < limits; ++i) {
        made[b][i] = odd_orders(slewed_cycle(limit_at(i), bandwidths[b], cosine), cosine);
      }
    }
    return made;
  }();
  return table;
}

}  // namespace

Orders clipped(double positive, double negative, std::size_t orders) {
  const Excess up = excess_of(positive, orders);
  return without(up, positive == negative ? up : excess_of(negative, orders), orders);
}

Orders dead_zone(double width, double loss, std::size_t orders) {
  // What is lost is the share `loss` of the cosine cut at ±width.
  const double angle = std::acos(std::clamp(width, 0.0, 1.0));
  const Orders middle = clipped(angle, angle, orders);
  Orders out{};
  for (std::size_t k = 1; k <= orders; ++k) out[k] = (k == 1 ? 1.0 : 0.0) - loss * middle[k];
  return out;
}

Orders knee(double middle, double width, bool positive, bool negative, std::size_t orders) {
  const Excess side = knee_excess(middle, width, orders);
  return without(positive ? side : Excess{}, negative ? side : Excess{}, orders);
}

Orders slew_limited(double limit, std::size_t bandwidth, std::size_t orders) {
  const auto& row = slew_table()[std::min(bandwidth, slew_bandwidths - 1)];
  const double place =
      std::clamp((limit - lowest_limit) / (highest_limit - lowest_limit), 0.0, 1.0) * (limits - 1);
  const auto low = std::min(static_cast<std::size_t>(place), limits - 2);
  const double share = place - static_cast<double>(low);
  Orders out{};
  for (std::size_t k = 1; k <= orders; ++k) {
    out[k] = (1.0 - share) * row[low][k] + share * row[low + 1][k];
  }
  return out;
}

}  // namespace railtap::measure::shape
