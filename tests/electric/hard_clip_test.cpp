// SPDX-License-Identifier: MIT
// The clipped sine in closed form, against dense sampling and against figures stored elsewhere.
#include "electric/hard_clip.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "electric/meter.hpp"
#include "support/within.hpp"
#include "units/error.hpp"

using namespace railtap;
using electric::hard_clip;
using test::within_abs;
using test::within_rel;

TEST_CASE("hard clip: mean square, mean and fundamental equal a sum over a million points") {
  constexpr int points = 1'000'000;
  for (const double overdrive : {0.05, 1.0, 6.0, 20.0}) {
    const auto clip = hard_clip(Decibels(overdrive));
    double square = 0.0, mean = 0.0, fundamental = 0.0;
    for (int i = 0; i < points; ++i) {
      const double s = std::sin(2.0 * std::numbers::pi * (i + 0.5) / points);
      const double y = std::clamp(s, -clip.clip_ratio, clip.clip_ratio);
      square += y * y;
      mean += std::abs(y);
      fundamental += 2.0 * y * s;
    }
    CAPTURE(overdrive);
    CHECK(within_abs(clip.mean_square, square / points, 1e-10));
    CHECK(within_abs(clip.mean_abs, mean / points, 1e-10));
    CHECK(within_abs(clip.fundamental, fundamental / points, 1e-10));
  }
}

TEST_CASE("hard clip: at c = 0.7 the fundamental is 0.8118795956") {
  CHECK(within_abs(hard_clip(Decibels(-20.0 * std::log10(0.7))).fundamental, 0.8118795956, 1e-10));
}

TEST_CASE("hard clip: distortion passes 1 % at 0.251261 dB and 10 % at 2.173141 dB") {
  CHECK(within_abs(hard_clip(Decibels(0.251261)).thd.value(), 1.0, 1e-5));
  CHECK(within_abs(hard_clip(Decibels(2.173141)).thd.value(), 10.0, 1e-5));
}

TEST_CASE("hard clip: 5 dB over gives 20.3 %, 10 dB over 32.2 %") {
  CHECK(within_abs(hard_clip(Decibels(5.0)).thd.value(), 20.31931, 1e-5));
  CHECK(within_abs(hard_clip(Decibels(10.0)).thd.value(), 32.16372, 1e-5));
}

TEST_CASE("hard clip: without overdrive it is a sine, with 200 dB a square of twice the power") {
  const auto sine = hard_clip(Decibels(0.0));
  CHECK(within_abs(sine.thd.value(), 0.0, 1e-5));
  CHECK(within_abs(sine.power_gain, 1.0, 1e-15));
  const auto square = hard_clip(Decibels(200.0));
  CHECK(within_abs(square.power_gain, 2.0, 1e-9));
  // THD of a square wave: √(π²/8 − 1).
  const double expected = 100.0 * std::sqrt(std::numbers::pi * std::numbers::pi / 8.0 - 1.0);
  CHECK(within_abs(square.thd.value(), expected, 1e-6));
}

TEST_CASE(
    "hard clip: the power at 10 % over that at 0.5 % is within 1 % of a real bridge amplifier's") {
  // Data sheet of a two-channel bridge amplifier: 24 W at 10 %, 19 W at 0.5 % (14.4 V, 4 ohm).
  const double ratio =
      hard_clip(Decibels(2.173141)).power_gain / hard_clip(Decibels(0.139248)).power_gain;
  CHECK(within_abs(ratio, 1.253108, 1e-5));
  CHECK(within_rel(ratio, 24.0 / 19.0, 0.01));
}

TEST_CASE("hard clip: an average-responding meter reads 0.763 % high at 1 dB and 1.933 % at 10 %") {
  const auto excess = [](double overdrive) {
    const auto clip = hard_clip(Decibels(overdrive));
    return electric::sine_form_factor * clip.mean_abs / std::sqrt(clip.mean_square) - 1.0;
  };
  CHECK(within_abs(excess(1.0), 0.007631, 1e-6));
  CHECK(within_abs(excess(2.173141), 0.01933, 1e-5));
  CHECK(within_abs(excess(0.251261), 0.00117, 1e-5));
}

TEST_CASE("hard clip: a negative overdrive is refused") {
  CHECK_THROWS_AS((void)hard_clip(Decibels(-0.1)), Error);
}
