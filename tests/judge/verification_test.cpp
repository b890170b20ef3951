// SPDX-License-Identifier: MIT
// The verdict on wiring and setting from measurements that are made of numbers.
#include "judge/verification.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <string>

#include "judge/filters.hpp"
#include "signal/marker.hpp"
#include "support/basics.hpp"

using namespace railtap;
using namespace railtap::judge;

namespace {

const Filter own_coupling{
    FilterKind::high_pass, FilterFamily::butterworth, 1, Hertz(25), Decibels(0), 0.0};
const Filter own_tilt{
    FilterKind::high_shelf, FilterFamily::none, 1, Hertz(2000), Decibels(-4), 0.0};
const Filter in_the_car{
    FilterKind::high_pass, FilterFamily::butterworth, 2, Hertz(80), Decibels(0), 0.0};
constexpr double own_gain_db = -2.5, gain_db = -12.0;

double degrees(std::complex<double> h) {
  return std::arg(h) * 180.0 / std::numbers::pi;
}

std::complex<double> own(Hertz f) {
  return response(own_coupling, f) * response(own_tilt, f);
}

// Points that lie between those of the recording, from below its band to above it.
electric::SoundInterface interface_with_a_tilt() {
  electric::SoundInterface interface;
  interface.rate = Hertz(48000);
  for (int k = 0; k <= 290; ++k) {
    const Hertz f(4.9 * std::exp2(k / 24.0));
    interface.response.push_back(
        {f, Decibels(own_gain_db + 20.0 * std::log10(std::abs(own(f)))), degrees(own(f))});
  }
  return interface;
}

ChannelMeasurements swept(bool through_the_interface) {
  ChannelMeasurements measured;
  measured.file = "made of numbers";
  SweepReading sweep;
  for (int k = 0; k <= 237; ++k) {
    const Hertz f(20.0 * std::exp2(k / 24.0));
    const auto h = response(in_the_car, f) * (through_the_interface ? own(f) : 1.0);
    sweep.response.points.push_back(
        {f, Decibels(gain_db + 20.0 * std::log10(std::abs(h))), degrees(h), Decibels(0.01)});
  }
  measured.sweep = sweep;
  return measured;
}

ChannelVerification verified(const ChannelMeasurements& measured,
                             const electric::SoundInterface* interface) {
  return judge_verification({measured}, interface, {}).channels.front();
}

}  // namespace

TEST_CASE("verification: an interface's own response is taken out, its gain at 1 kHz is left in") {
  const electric::SoundInterface interface = interface_with_a_tilt();
  const ChannelVerification plain = verified(swept(false), nullptr);
  const ChannelVerification found = verified(swept(true), &interface);
  REQUIRE(found.response.size() == plain.response.size());
  const double kept_db = 20.0 * std::log10(std::abs(own(Hertz(1000))));
  const double kept_deg = degrees(own(Hertz(1000)));
  for (std::size_t k = 0; k < plain.response.size(); ++k) {
    CAPTURE(plain.response[k].frequency.value());
    // Between points a twenty-fourth of an octave apart a line stands for the curve.
    CHECK(test::within_abs(found.response[k].magnitude.value(),
                           plain.response[k].magnitude.value() + kept_db, 0.002));
    const double turn = found.response[k].phase_deg - plain.response[k].phase_deg - kept_deg;
    CHECK(test::within_abs(std::remainder(turn, 360.0), 0.0, 0.02));
  }
  REQUIRE(found.filters.has_value());
  REQUIRE(found.filters->filters.size() == 1);
  CHECK(found.filters->filters.front().order == 2);
  CHECK(test::within_rel(found.filters->filters.front().frequency.value(), 80.0, 0.01));
}

TEST_CASE("verification: what was taken out is told where it was most, and only then") {
  const electric::SoundInterface interface = interface_with_a_tilt();
  CHECK_FALSE(verified(swept(true), nullptr).interface_part.has_value());
  const auto part = verified(swept(true), &interface).interface_part;
  REQUIRE(part.has_value());
  // The high-pass at 20 Hz against the shelf, of which 1 kHz has a part already.
  const double at_20 = 20.0 * std::log10(std::abs(own(Hertz(20)) / own(Hertz(1000))));
  CHECK(test::within_abs(part->magnitude.value(), at_20, 0.01));
  CHECK(part->frequency.value() == doctest::Approx(20.0));
}

TEST_CASE(
    "verification: a sum of both sides stays one where the sweep reaches one upper line only") {
  // The bass track's sweep ends between the upper lines of left (433 Hz) and right (677 Hz).
  ChannelMeasurements measured;
  SweepReading sweep;
  for (int k = 0; k <= 120; ++k) {
    const Hertz f(15.0 * std::exp2(k / 24.0));
    sweep.response.points.push_back({f, Decibels(-20.0), 0.0, Decibels(0.01)});
  }
  measured.sweep = sweep;
  measure::PatternReading pattern;
  for (std::size_t i = 0; i < pattern.lines.size(); ++i)
    pattern.lines[i] = {i < 2, i % 2 == 0, Hertz(100), 1e-4, 1e-12};
  measured.pattern = pattern;
  CHECK(verified(measured, nullptr).identity->carries == Carries::both);
  // A low-pass of 24 dB per octave leaves the upper lines 16 dB apart, and the lower ones alike.
  measured.pattern->lines[1].mean_square = 1e-8;
  measured.pattern->lines[3].mean_square = 2.5e-10;
  CHECK(verified(measured, nullptr).identity->carries == Carries::both);
}

TEST_CASE("verification: beyond the loop-back's ends its nearest value holds") {
  electric::SoundInterface interface;
  interface.response = {{Hertz(500), Decibels(-1), 0.0}, {Hertz(1000), Decibels(0), 0.0}};
  const ChannelVerification found = verified(swept(false), &interface);
  const ChannelVerification plain = verified(swept(false), nullptr);
  const auto change = [&](std::size_t k) {
    return (found.response[k].magnitude - plain.response[k].magnitude).value();
  };
  CHECK(test::within_abs(change(0), 1.0, 1e-9));
  CHECK(test::within_abs(change(plain.response.size() - 1), 0.0, 1e-9));
}

namespace {

/// One side alone, and pulses whose crests all point one way, as x(t) of signal/marker.hpp.
ChannelMeasurements heard(int number, const std::string& name, bool left, bool inverted) {
  ChannelMeasurements measured;
  measured.channel = number;
  measured.name = name;
  measure::PatternReading pattern;
  for (std::size_t i = 0; i < pattern.lines.size(); ++i) {
    const bool own = (i < 2) == left;
    pattern.lines[i] = {i < 2, i % 2 == 0, Hertz(100), own ? 1e-2 : 1e-7, 1e-12};
  }
  measured.pattern = pattern;
  measure::PolarityReading pulses;
  pulses.orders = 4;
  pulses.fundamental = Hertz(500);
  for (std::size_t k = 0; k < pulses.phasor.size(); ++k)
    pulses.phasor[k] = (inverted ? -0.1 : 0.1) * signal::polarity_amplitudes[k];
  measured.pulses = pulses;
  return measured;
}

bool says(const std::vector<Finding>& findings, Severity severity, const std::string& text) {
  return std::any_of(findings.begin(), findings.end(), [&](const Finding& f) {
    return f.severity == severity && f.text.find(text) != std::string::npos;
  });
}

}  // namespace

TEST_CASE("verification: an inverted channel reads wiring, and is named") {
  const Verification found = judge_verification(
      {heard(1, "front left", true, false), heard(2, "front right", false, true)}, nullptr, {});
  CHECK_FALSE(found.within_limits());
  CHECK(found.channels[0].verdict() != ChannelVerdict::wiring);
  CHECK(found.channels[1].verdict() == ChannelVerdict::wiring);
  CHECK(std::string(name(found.channels[1].verdict())) == "wiring");
  CHECK(says(found.channels[1].findings, Severity::fault,
             "front right is inverted: plus and minus are exchanged somewhere on the way."));
  CHECK(called(found.channels[1]) == "front right");
}

TEST_CASE("verification: a channel that carries the other side, or none, reads wiring") {
  const Verification swapped = judge_verification(
      {heard(1, "front left", false, false), heard(2, "front right", true, false)}, nullptr, {});
  CHECK(swapped.channels[0].verdict() == ChannelVerdict::wiring);
  CHECK(says(swapped.channels[0].findings, Severity::fault,
             "front left carries the right side instead of the left side."));
  ChannelMeasurements silent = heard(2, "", true, false);
  for (auto& line : silent.pattern->lines) line.mean_square = 1e-13;
  const Verification quiet = judge_verification({heard(1, "", true, false), silent}, nullptr, {});
  CHECK(quiet.channels[1].verdict() == ChannelVerdict::wiring);
  CHECK(called(quiet.channels[1]) == "channel 2");
  CHECK(says(quiet.channels[1].findings, Severity::fault, "The channel is silent."));
}

TEST_CASE("verification: crosstalk is said between names where there are any") {
  ChannelMeasurements leaky = heard(2, "front right", false, false);
  leaky.pattern->lines[0].mean_square = leaky.pattern->lines[1].mean_square = 3e-4;
  const Verification found =
      judge_verification({heard(1, "front left", true, false), leaky}, nullptr, {});
  REQUIRE(found.pair.has_value());
  CHECK(says(found.pair->findings, Severity::fault,
             "Crosstalk from front left into front right is -15.2 dB"));
}
