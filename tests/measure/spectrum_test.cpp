// SPDX-License-Identifier: MIT
// The spectrum at its ends, and the correlation for every length.
#include "measure/spectrum.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <vector>

#include "measure/correlate.hpp"
#include "support/within.hpp"

using namespace railtap::measure;
using railtap::test::within_rel;

TEST_CASE("spectrum: a constant fills the first bin, what alternates fills the last") {
  constexpr std::size_t length = 960;
  std::vector<double> constant(length, 0.5);
  std::vector<double> alternating(length);
  for (std::size_t n = 0; n < length; ++n) alternating[n] = n % 2 == 0 ? 0.5 : -0.5;
  Spectrum spectrum(length);
  spectrum.transform(constant);
  const double first = spectrum.mean_square(0);
  CHECK(first > 0.1);
  CHECK(spectrum.strongest(0, spectrum.bins() - 1) == 0);
  // Alternating signs move everything by half the rate; so the last bin has what the first had.
  spectrum.transform(alternating);
  CHECK(spectrum.strongest(0, spectrum.bins() - 1) == length / 2);
  CHECK(within_rel(spectrum.mean_square(length / 2), first, 1e-12));
  CHECK(spectrum.mean_square(0) < 1e-12 * first);
}

TEST_CASE("spectrum: the strongest bin is found wherever it is, the first of equals") {
  constexpr std::size_t length = 2400;  // several stretches of the search, and a part of one
  Spectrum spectrum(length);
  for (const std::size_t at :
       {std::size_t{7}, std::size_t{255}, std::size_t{256}, std::size_t{700}, std::size_t{1190}}) {
    std::vector<double> line(length);
    for (std::size_t n = 0; n < length; ++n) {
      line[n] = std::cos(2.0 * std::numbers::pi * static_cast<double>(at * n % length) / length);
    }
    spectrum.transform(line);
    CHECK(spectrum.strongest(3, spectrum.bins() - 1) == at);
    CHECK(spectrum.strongest(at, at) == at);
  }
  spectrum.transform(std::vector<double>(length, 0.0));
  CHECK(spectrum.strongest(5, 900) == 5);
}

TEST_CASE("correlate: every sample takes part, at even and odd lengths") {
  const std::vector<double> x{1.0, 2.0, 3.0, 4.0, 5.0};
  const std::vector<double> re{1.0, 10.0, 100.0, 1000.0, 10000.0};
  const std::vector<double> im{-1.0, 0.0, 0.0, 0.0, 2.0};
  const double sums[] = {0.0, 1.0, 21.0, 321.0, 4321.0, 54321.0};
  for (std::size_t count = 0; count <= x.size(); ++count) {
    const Correlation found = correlate(x.data(), re.data(), im.data(), count);
    CHECK(found.re == sums[count]);
    CHECK(found.im == (count == 0 ? 0.0 : count == 5 ? 9.0 : -1.0));
  }
}
