// SPDX-License-Identifier: MIT
// Random numbers with fixed seeds, so that every run is the same, bit for bit those of
// std::mt19937_64 and the distributions of libstdc++ in a half to a fifth of the time: trials draw
// a thousand million.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <random>

namespace railtap::test {

/// The generator MT19937-64 of C++'s library [Nishimura, "Tables of 64-bit Mersenne Twisters", ACM
/// TOMACS 10 (2000) 348-357], which makes a whole state's worth of words at a time.
class Random {
 public:
  using result_type = std::uint64_t;
  static constexpr std::size_t words = 312;
  static constexpr result_type default_seed = 5489;

  explicit Random(result_type seed = default_seed);

  static constexpr result_type min() { return 0; }
  static constexpr result_type max() { return ~result_type{0}; }
  result_type operator()() {
    if (at_ == words) refill();
    return made_[at_++];
  }

  /// Uniform, 0 <= value < 1: one word over 2^64, rounded once, as std::generate_canonical has it.
  double uniform() {
    const result_type word = (*this)();
    // A conversion of 64 bits without a sign branches on the first of them. Both halves are exact.
    const auto high = static_cast<double>(static_cast<std::int64_t>(word >> 32U));
    const auto low = static_cast<double>(static_cast<std::int64_t>(word & 0xFFFFFFFFU));
    const double value = high * 0x1p-32 + low * 0x1p-64;
    return value < 1.0 ? value : 1.0 - 0x1p-53;
  }

 private:
  void refill();

  std::array<result_type, words> state_, made_;
  std::size_t at_ = words;
};

/// Normally distributed numbers, in pairs by the polar method [Knuth, The Art of Computer
/// Programming 2, 3.4.1, algorithm P], as std::normal_distribution has them.
class Gaussian {
 public:
  /// \param deviation  standard deviation, >= 0
  explicit Gaussian(double mean = 0.0, double deviation = 1.0)
      : mean_(mean), deviation_(deviation) {}

  double operator()(Random& random);

 private:
  double mean_, deviation_;
  double kept_ = 0.0;
  bool has_kept_ = false;
};

/// Evenly from low to high.
inline double between(Random& random, double low, double high) {
  return random.uniform() * (high - low) + low;
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
