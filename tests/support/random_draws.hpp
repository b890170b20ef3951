// SPDX-License-Identifier: MIT
// Random numbers as the trials draw them: fixed seeds, so that every run is the same.
#pragma once

#include <cmath>
#include <random>

namespace railtap::test {

using Random = std::mt19937_64;

/// Evenly from low to high.
inline double between(Random& random, double low, double high) {
  return std::uniform_real_distribution<double>(low, high)(random);
}

/// Evenly in the logarithm; both > 0.
inline double log_between(Random& random, double low, double high) {
  return std::exp(between(random, std::log(low), std::log(high)));
}

/// 0 … count − 1.
inline int one_of(Random& random, int count) {
  return std::uniform_int_distribution<int>(0, count - 1)(random);
}

}  // namespace railtap::test
