// SPDX-License-Identifier: MIT
// The tests' random numbers against those of C++'s library, bit for bit.
#include "support/random.hpp"

#include <doctest/doctest.h>

#include <initializer_list>
#include <random>

using railtap::test::Gaussian;
using railtap::test::Random;

// Thrice round the state and more.
constexpr int numbers = 1000;

TEST_CASE("random numbers: the words are those of std::mt19937_64, to the standard's 10 000th") {
  for (const Random::result_type seed : {5489U, 0U, 1U, 200060U}) {
    Random random(seed);
    std::mt19937_64 expected(seed);
    for (int i = 0; i < numbers; ++i) REQUIRE(random() == expected());
  }
  Random random;
  for (int i = 1; i < 10000; ++i) static_cast<void>(random());
  CHECK(random() == 9981545732273789042U);  // ISO/IEC 14882:2020, 26.6.6
}

// How a distribution comes by its numbers is the library's affair.
#ifdef __GLIBCXX__
TEST_CASE("random numbers: even and normal ones are those of libstdc++, in turn as well") {
  Random random(7);
  std::mt19937_64 expected(7);
  Gaussian gaussian(0.1, 0.3);
  std::normal_distribution<double> normal(0.1, 0.3);
  std::uniform_real_distribution<double> even(-0.5, 2.0);
  for (int i = 0; i < numbers; ++i) {
    REQUIRE(gaussian(random) == normal(expected));
    REQUIRE(railtap::test::between(random, -0.5, 2.0) == even(expected));
    REQUIRE(random.uniform() == std::generate_canonical<double, 53>(expected));
    REQUIRE(railtap::test::one_of(random, 7) == std::uniform_int_distribution<int>(0, 6)(expected));
  }
}
#endif
