// SPDX-License-Identifier: MIT
// Filters are recognised from responses made of their formulas and noise.
#include "judge/filters.hpp"

#include <doctest/doctest.h>

#include <cmath>

#include "support/basics.hpp"

using namespace railtap;
using namespace railtap::judge;

namespace {

std::vector<measure::ResponsePoint> response_of(const std::vector<Filter>& filters,
                                                double noise_db = 0.01) {
  test::Random random(4);
  test::Gaussian gaussian(0.0, noise_db);
  std::vector<measure::ResponsePoint> points;
  for (int k = 0; k <= 237; ++k) {
    const Hertz f(20.0 * std::exp2(k / 24.0));
    double db = -12.0 + gaussian(random);
    for (const Filter& filter : filters) db += 20.0 * std::log10(std::abs(response(filter, f)));
    points.push_back({f, Decibels(db), 0.0, Decibels(noise_db)});
  }
  return points;
}

Filter pass(FilterKind kind, FilterFamily family, int order, double hz) {
  return {kind, family, order, Hertz(hz), Decibels(0), 0.0};
}

void check_alone(const Filter& played) {
  CAPTURE(name(played.kind));
  CAPTURE(played.order);
  CAPTURE(played.frequency.value());
  const auto found = recognise_filters(response_of({played}));
  REQUIRE(found.has_value());
  REQUIRE(found->filters.size() == 1);
  const Filter& f = found->filters.front();
  CHECK(f.kind == played.kind);
  CHECK(f.family == played.family);
  CHECK(f.order == played.order);
  CHECK(test::within_rel(f.frequency.value(), played.frequency.value(), 0.01));
  CHECK(test::within_abs(f.gain.value(), played.gain.value(), 0.1));
  CHECK(test::within_abs(found->level.value(), -12.0, 0.05));
  CHECK(found->misfit.value() < 0.2);
}

}  // namespace

TEST_CASE("filters: every high-pass and low-pass is recognised alone") {
  for (const double hz : {50.0, 80.0, 120.0, 2500.0}) {
    for (int order = 1; order <= 4; ++order) {
      check_alone(pass(FilterKind::high_pass, FilterFamily::butterworth, order, hz));
      check_alone(pass(FilterKind::low_pass, FilterFamily::butterworth, order, hz));
    }
    for (const int order : {2, 4}) {
      check_alone(pass(FilterKind::high_pass, FilterFamily::linkwitz_riley, order, hz));
      check_alone(pass(FilterKind::low_pass, FilterFamily::linkwitz_riley, order, hz));
    }
  }
}

TEST_CASE("filters: boosts and shelves are recognised alone") {
  for (const double gain : {-6.0, 3.0, 6.0, 12.0}) {
    check_alone({FilterKind::peaking, FilterFamily::none, 0, Hertz(45), Decibels(gain), 1.0});
    check_alone({FilterKind::peaking, FilterFamily::none, 0, Hertz(1000), Decibels(gain), 3.0});
    check_alone({FilterKind::low_shelf, FilterFamily::none, 1, Hertz(100), Decibels(gain), 0.0});
    check_alone({FilterKind::high_shelf, FilterFamily::none, 2, Hertz(3000), Decibels(gain), 0.0});
  }
}

TEST_CASE("filters: a flat response has none, and capacitors are none") {
  const auto flat = recognise_filters(response_of({}));
  REQUIRE(flat.has_value());
  CHECK(flat->filters.empty());
  CHECK_FALSE(flat->low_3db.has_value());
  CHECK_FALSE(flat->high_3db.has_value());
  const auto coupled = recognise_filters(
      response_of({pass(FilterKind::high_pass, FilterFamily::butterworth, 1, 8)}));
  REQUIRE(coupled.has_value());
  CHECK(coupled->filters.empty());
  CHECK(coupled->coupling.size() == 1);
  CHECK_FALSE(recognise_filters({}).has_value());
}

TEST_CASE("filters: a band-pass with a boost in it is taken apart") {
  const auto found = recognise_filters(
      response_of({pass(FilterKind::high_pass, FilterFamily::butterworth, 4, 25),
                   pass(FilterKind::low_pass, FilterFamily::linkwitz_riley, 4, 90),
                   {FilterKind::peaking, FilterFamily::none, 0, Hertz(45), Decibels(6), 1.5}}));
  REQUIRE(found.has_value());
  REQUIRE(found->filters.size() == 3);
  for (const Filter& f : found->filters) {
    if (f.kind == FilterKind::high_pass) CHECK(test::within_rel(f.frequency.value(), 25.0, 0.03));
    if (f.kind == FilterKind::low_pass) CHECK(test::within_rel(f.frequency.value(), 90.0, 0.03));
    if (f.kind == FilterKind::peaking) CHECK(test::within_abs(f.gain.value(), 6.0, 0.5));
  }
}

TEST_CASE("filters: corners at -3 dB, and what is said") {
  const auto found = recognise_filters(
      response_of({pass(FilterKind::high_pass, FilterFamily::butterworth, 2, 80)}));
  REQUIRE(found.has_value());
  REQUIRE(found->low_3db.has_value());
  CHECK(test::within_rel(found->low_3db->value(), 80.0, 0.01));
  CHECK(in_words(found->filters.front()) == "high-pass on at about 80 Hz, 12 dB/octave");
  CHECK(in_words(Filter{FilterKind::peaking, FilterFamily::none, 0, Hertz(45), Decibels(6), 1.0}) ==
        "bass boost of +6.0 dB at 45 Hz, Q 1.0");
  const std::vector<Filter> loud{
      {FilterKind::low_shelf, FilterFamily::none, 1, Hertz(100), Decibels(8), 0.0},
      {FilterKind::high_shelf, FilterFamily::none, 1, Hertz(10000), Decibels(4), 0.0}};
  REQUIRE(in_words(loud).size() == 1);
  CHECK(in_words(loud)[0] == "loudness on: bass +8.0 dB, treble +4.0 dB");
}
