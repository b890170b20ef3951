// SPDX-License-Identifier: MIT
// Triangular dither from the two halves of one random number.
#include "signal/dither.hpp"

#include <cstdint>

namespace railtap::signal {

void Dither::add(std::span<double> samples) {
  const double scale = step_ * 0x1p-32;  // a half is uniform over 2^32 values around zero
  for (double& sample : samples) {
    const std::uint64_t bits = random_.next();
    const auto high = static_cast<std::int32_t>(bits >> 32);
    const auto low = static_cast<std::int32_t>(bits & 0xFFFFFFFFU);
    sample += scale * (static_cast<double>(high) + static_cast<double>(low));
  }
}

}  // namespace railtap::signal
