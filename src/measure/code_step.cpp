// SPDX-License-Identifier: MIT
// How fine the numbers of a recording really are.
#include "measure/code_step.hpp"

#include <bit>
#include <cmath>

namespace railtap::measure {
namespace {

constexpr int grid_bits = 32;
constexpr int finest_bits = 24;
constexpr double largest = 1024.0;  // full scales: beyond, the units do not fit

}  // namespace

void CodeStep::add(std::span<const double> samples) {
  const double scale = std::ldexp(1.0, grid_bits);
  for (const double x : samples) {
    if (off_grid_) return;
    if (!(std::abs(x) < largest)) {
      off_grid_ = true;
      return;
    }
    const double units = std::abs(x) * scale;
    const auto whole = static_cast<std::uint64_t>(units);
    if (static_cast<double>(whole) != units) off_grid_ = true;
    bits_ |= whole;
  }
}

std::optional<double> CodeStep::step() const {
  if (off_grid_ || bits_ == 0) return std::nullopt;
  const int bits = grid_bits - std::countr_zero(bits_);
  if (bits > finest_bits) return std::nullopt;
  return std::ldexp(1.0, -bits);
}

}  // namespace railtap::measure
