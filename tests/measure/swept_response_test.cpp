// SPDX-License-Identifier: MIT
// The swept response of known filters, with noise, distortion and a wrong clock; coupling corners.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <functional>
#include <numbers>
#include <vector>

#include "measure/swept_response.hpp"
#include "signal/generator.hpp"
#include "support/basics.hpp"

using namespace railtap;
using measure::measure_sweep;
using measure::SweptResponse;

namespace {

constexpr double rate = 48000.0;
const signal::LogSweep kit_sweep{Hertz(20), Hertz(19000), Dbfs(-15), Seconds(20)};
constexpr std::size_t lead = 12345;

/// The sweep from its formula [Farina 2000], as a clock that is `ratio` too fast records it.
std::vector<double> recorded_sweep(const signal::LogSweep& s, double ratio) {
  std::vector<double> x(lead + static_cast<std::size_t>((s.length.value() + 1.0) * rate), 0.0);
  const double rise = s.length.value() / std::log(s.high / s.low);
  const double fade = 1.0 / s.low.value();
  for (std::size_t n = lead; n < x.size(); ++n) {
    const double t = static_cast<double>(n - lead) / rate / ratio;
    if (t > s.length.value()) break;
    const double edge = std::min({t, s.length.value() - t, fade}) / fade;
    x[n] = sine_peak(s.level) * (0.5 - 0.5 * std::cos(std::numbers::pi * edge)) *
           std::sin(2.0 * std::numbers::pi * s.low.value() * rise * std::expm1(t / rise));
  }
  return x;
}

/// A biquad, b over a with a0 = 1.
struct Biquad {
  double b0, b1, b2, a1, a2;
  void run(std::vector<double>& x) const {
    double x1 = 0, x2 = 0, y1 = 0, y2 = 0;
    for (double& v : x) {
      const double y = b0 * v + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2;
      x2 = x1, x1 = v, y2 = y1, y1 = y;
      v = y;
    }
  }
  [[nodiscard]] double db(double hz) const {
    const auto z = std::polar(1.0, -2.0 * std::numbers::pi * hz / rate);
    return 20.0 * std::log10(std::abs((b0 + b1 * z + b2 * z * z) / (1.0 + a1 * z + a2 * z * z)));
  }
};

/// The peaking equaliser of R. Bristow-Johnson, "Cookbook formulae for audio equalizer biquad
/// filter coefficients".
Biquad peaking(double hz, double q, double gain_db) {
  const double a = std::pow(10.0, gain_db / 40.0);
  const double w = 2.0 * std::numbers::pi * hz / rate;
  const double alpha = std::sin(w) / (2.0 * q);
  const double a0 = 1.0 + alpha / a;
  return {(1.0 + alpha * a) / a0, -2.0 * std::cos(w) / a0, (1.0 - alpha * a) / a0,
          -2.0 * std::cos(w) / a0, (1.0 - alpha / a) / a0};
}

void add_noise(std::vector<double>& x, double rms) {
  signal::Random random(3);
  for (double& v : x) {
    const double u = 1.0 - random.uniform(), w = random.uniform();
    v += rms * std::sqrt(-2.0 * std::log(u)) * std::cos(2.0 * std::numbers::pi * w);
  }
}

double largest_error(const SweptResponse& response, const Biquad& filter) {
  REQUIRE(response.points.size() > 200);
  double largest = 0.0;
  for (const auto& p : response.points) {
    largest = std::max(largest, std::abs(p.magnitude.value() - filter.db(p.frequency.value())));
  }
  return largest;
}

}  // namespace

TEST_CASE("swept response: a bass boost is measured within 0.02 dB at every frequency") {
  std::vector<double> x = recorded_sweep(kit_sweep, 1.0);
  const Biquad boost = peaking(45.0, 1.5, 6.0);
  boost.run(x);
  const auto response = measure_sweep(x, Hertz(rate), kit_sweep, {lead + 300.0, 1.0, false});
  CHECK(largest_error(response, boost) < 0.02);
  CHECK(test::within_abs(response.clock_ratio, 1.0, 3e-5));
  CHECK(test::within_abs(response.start_frame, static_cast<double>(lead), 10.0));
}

TEST_CASE("swept response: noise 20 dB below the sweep leaves it within 0.1 dB") {
  std::vector<double> x = recorded_sweep(kit_sweep, 1.0);
  const Biquad boost = peaking(1000.0, 3.0, 6.0);
  boost.run(x);
  add_noise(x, 0.1 * sine_peak(kit_sweep.level) / std::numbers::sqrt2);
  const auto response = measure_sweep(x, Hertz(rate), kit_sweep, {lead - 200.0, 1.0, false});
  CHECK(largest_error(response, boost) < 0.1);
  for (const auto& p : response.points) CHECK(p.uncertainty.value() < 0.06);
}

TEST_CASE("swept response: a clock that is off by half a percent is found and does no harm") {
  for (const double ratio : {0.995, 1.005}) {
    std::vector<double> x = recorded_sweep(kit_sweep, ratio);
    const Biquad boost = peaking(400.0, 2.0, -8.0);
    boost.run(x);
    const auto response = measure_sweep(x, Hertz(rate), kit_sweep, {lead + 100.0, 1.0, false});
    CHECK(test::within_abs(response.clock_ratio, ratio, 3e-5));
    CHECK(largest_error(response, boost) < 0.05);
  }
}

TEST_CASE("swept response: third-harmonic distortion is told apart from the response") {
  std::vector<double> x = recorded_sweep(kit_sweep, 1.0);
  // 4·A³·sin³ = A³·(3·sin − sin 3): the third harmonic of a·x + b·x³ is b·A²/4 of x.
  const double amplitude = sine_peak(kit_sweep.level);
  const double b = 0.04 / (amplitude * amplitude);
  for (double& v : x) v += b * v * v * v;
  const auto response = measure_sweep(x, Hertz(rate), kit_sweep, {lead, 1.0, true});
  const double linear = 1.0 + 0.04 * 0.75;
  const double expected_db = 20.0 * std::log10(0.01 / linear);
  int seen = 0;
  for (const auto& h : response.harmonics) {
    if (h.frequency.value() < 30.0 || h.frequency.value() > 5000.0) continue;
    if (h.order == 3) {
      CHECK(test::within_abs(h.level.value(), expected_db, 0.1));
      CHECK(h.above_noise);
      ++seen;
    } else {
      CHECK(h.level.value() < -75.0);
    }
  }
  CHECK(seen > 15);
  for (const auto& p : response.points) {
    // The fade at the end is quieter, and so amplified less.
    const double tolerance_db = p.frequency.value() > 15000.0 ? 0.1 : 0.02;
    CHECK(test::within_abs(p.magnitude.value(), 20.0 * std::log10(linear), tolerance_db));
  }
}

TEST_CASE("swept response: noise alone has no response") {
  std::vector<double> x(static_cast<std::size_t>(21.0 * rate), 0.0);
  add_noise(x, 0.01);
  CHECK(measure_sweep(x, Hertz(rate), kit_sweep, {0.0, 1.0, false}).points.empty());
  std::vector<double> silent(x.size(), 0.0);
  CHECK(measure_sweep(silent, Hertz(rate), kit_sweep, {0.0, 1.0, false}).points.empty());
}

TEST_CASE("swept response: the bass sweep behind a low-pass is measured") {
  const signal::LogSweep bass{Hertz(15), Hertz(500), Dbfs(-15), Seconds(20)};
  std::vector<double> x = recorded_sweep(bass, 1.002);
  const Biquad boost = peaking(45.0, 1.0, 9.0);
  boost.run(x);
  const auto response = measure_sweep(x, Hertz(rate), bass, {lead, 1.002, false});
  REQUIRE(response.points.size() > 100);
  for (const auto& p : response.points) {
    const double tolerance_db = p.frequency.value() > 400.0 ? 0.1 : 0.02;
    CHECK(test::within_abs(p.magnitude.value(), boost.db(p.frequency.value()), tolerance_db));
  }
}

using namespace railtap;
using measure::coupling_corner;
using measure::ResponsePoint;

namespace {

constexpr Hertz sweep_low{5.0};

std::vector<ResponsePoint> response(const std::function<double(double hz)>& loss_db) {
  std::vector<ResponsePoint> points;
  for (double hz = 5.0; hz < 19000.0; hz *= std::exp2(1.0 / 24.0)) {
    // Seven decibels of gain, which the corner does not care about.
    points.push_back({Hertz(hz), Decibels(7.0 - loss_db(hz)), 0.0, Decibels(0.01)});
  }
  return points;
}

// |H|² = 1/(1 + (corner/f)²), closed form.
double first_order_db(double corner_hz, double hz) {
  return 10.0 * std::log10(1.0 + std::pow(corner_hz / hz, 2.0));
}

TEST_CASE("coupling corner: a first-order high-pass is found from 1 to 10 Hz") {
  for (const double hz : {1.0, 2.5, 4.0, 10.0}) {
    CAPTURE(hz);
    const auto corner =
        coupling_corner(response([hz](double f) { return first_order_db(hz, f); }), sweep_low);
    REQUIRE(corner);
    CHECK(test::within_rel(corner->value(), hz, 0.001));
  }
}

TEST_CASE("coupling corner: two in series give the loss that both have where tones are measured") {
  const auto both = [](double f) { return first_order_db(3.0, f) + first_order_db(4.0, f); };
  const auto corner = coupling_corner(response(both), sweep_low);
  REQUIRE(corner);
  CHECK(test::within_abs(first_order_db(corner->value(), 50.0), both(50.0), 0.005));
}

TEST_CASE("coupling corner: none where nothing is missing, nor where it is no coupling") {
  CHECK_FALSE(coupling_corner(response([](double) { return 0.0; }), sweep_low));
  CHECK_FALSE(coupling_corner({}, sweep_low));
  // A bass boost, and a resonant dip at 60 Hz.
  CHECK_FALSE(
      coupling_corner(response([](double f) { return f < 100.0 ? -3.0 : 0.0; }), sweep_low));
  CHECK_FALSE(coupling_corner(
      response([](double f) { return std::abs(f - 60.0) < 15.0 ? 0.8 : 0.0; }), sweep_low));
  // Nothing measured where the middle is.
  auto low_only = response([](double f) { return first_order_db(4.0, f); });
  std::erase_if(low_only, [](const auto& point) { return point.frequency > Hertz(400.0); });
  CHECK_FALSE(coupling_corner(low_only, sweep_low));
}

}  // namespace
