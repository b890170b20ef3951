// SPDX-License-Identifier: MIT
// Verdicts: what is said of a recording, and what must never be said.

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include <doctest/doctest.h>

#include "judge/analysis.hpp"
#include "judge/sentence.hpp"
#include "support/basics.hpp"

using namespace railtap;
using namespace railtap::judge;
using railtap::test::within_abs;
using std::numbers::pi;

namespace {

constexpr double rate = 48000.0;

std::vector<double> sine(double hz, double peak, double seconds) {
  std::vector<double> x(static_cast<std::size_t>(seconds * rate));
  for (std::size_t n = 0; n < x.size(); ++n)
    x[n] = peak * std::sin(2.0 * pi * hz * static_cast<double>(n) / rate);
  return x;
}

void add_noise(std::vector<double>& x, double rms, unsigned seed = 3) {
  test::Random random(seed);
  test::Gaussian noise(0.0, rms);
  for (double& v : x) v += noise(random);
}

void quantise(std::vector<double>& x, int bits) {
  const double scale = std::ldexp(1.0, bits - 1);
  for (double& v : x) v = std::clamp(std::nearbyint(v * scale), -scale, scale - 1.0) / scale;
}

ChannelAnalysis judge_all(const std::vector<double>& x, std::optional<double> step = {},
                          Limits limits = {}) {
  measure::RecordingMeter meter(Hertz(rate), 1, {limits.band, step});
  meter.add(x);
  return judge_channel(1, meter.finish()[0], Hertz(rate), limits);
}

}  // namespace

TEST_CASE("verdict: a clean tone in a little noise is clean, at any level, and gives no reasons") {
  for (const double db : {0.0, -1.0, -20.0, -50.0}) {
    auto x = sine(997.0, std::pow(10.0, db / 20.0), 2.0);
    add_noise(x, 1e-5);
    const auto a = judge_all(x);
    CAPTURE(db);
    CHECK(a.findings.verdict == Verdict::clean);
    CHECK(a.findings.reasons.empty());
    CHECK(within_abs(a.findings.level->value(), db, 0.001));
    CHECK(within_abs(a.findings.crest_factor->value(), 3.0103, db > -30.0 ? 0.02 : 0.1));
  }
}

TEST_CASE(
    "verdict: a full-scale tone of 16 bits is not overload, at 20 Hz with its flat-looking crests "
    "too") {
  for (const double hz : {20.0, 50.0, 997.0}) {
    auto x = sine(hz, 1.0, 2.0);
    add_noise(x, 1.5e-5);
    quantise(x, 16);
    CAPTURE(hz);
    CHECK(judge_all(x, std::ldexp(1.0, -15)).findings.verdict == Verdict::clean);
  }
}

TEST_CASE("verdict: a tone over digital full scale is input overload and not amplifier clipping") {
  for (const double hz : {50.0, 997.0}) {
    auto x = sine(hz, 1.05, 2.0);
    quantise(x, 16);
    const auto a = judge_all(x, std::ldexp(1.0, -15));
    CAPTURE(hz);
    CHECK(a.findings.verdict == Verdict::input_overload);
    CHECK(a.findings.input_overload.samples_at_full_scale > 1000);
  }
}

TEST_CASE("verdict: a second harmonic of 2 % is distorted, with the THD+N as the reason") {
  auto x = sine(997.0, 0.5, 2.0);
  const auto second = sine(1994.0, 0.01, 2.0);
  for (std::size_t n = 0; n < x.size(); ++n) x[n] += second[n];
  const auto a = judge_all(x);
  CHECK(a.findings.verdict == Verdict::distorted);
  CHECK(within_abs(a.findings.thdn->value(), 100.0 * 0.02 / std::sqrt(1.0 + 0.02 * 0.02), 0.0005));
  REQUIRE(a.findings.reasons.size() == 1);
  CHECK(a.findings.reasons[0].find("THD+N") != std::string::npos);
  CHECK(within_abs(a.findings.harmonics.at(0).level.value(), -33.979, 0.001));
}

// THD+N is over the whole signal [AES17-2015, 6.3.1]; THD over the fundamental, SINAD the whole
// over the rest, and the phase that of a cosine from where the fundamental rises through zero, as
// docs/method.md has them.
TEST_CASE("verdict: distortion so large that what it is divided by shows, with its phase") {
  for (const double phase_deg : {40.0, -130.0}) {
    auto x = sine(1000.0, 0.4, 2.0);
    for (std::size_t n = 0; n < x.size(); ++n) {
      const double cycles = 2000.0 * static_cast<double>(n) / rate;
      x[n] += 0.2 * std::cos(2.0 * pi * cycles + phase_deg * pi / 180.0);
    }
    add_noise(x, 1e-5);
    const Findings f = judge_all(x).findings;
    REQUIRE(f.thdn);
    CHECK(within_abs(f.thdn->value(), 100.0 * std::sqrt(0.04 / 0.20), 0.01));
    CHECK(within_abs(f.thdn_db->value(), 10.0 * std::log10(0.04 / 0.20), 0.001));
    CHECK(within_abs(f.sinad->value(), -10.0 * std::log10(0.04 / 0.20), 0.001));
    CHECK(within_abs(f.thd->value(), 50.0, 0.01));
    REQUIRE(!f.harmonics.empty());
    CHECK(within_abs(f.harmonics[0].level.value(), -6.0206, 0.001));
    CHECK(within_abs(f.harmonics[0].phase_deg, phase_deg, 0.05));
  }
}

TEST_CASE("verdict: silence, hum in silence, and digital nothing are no signal") {
  std::vector<double> x(96000, 0.0);
  CHECK(judge_all(x).findings.verdict == Verdict::no_signal);
  CHECK_FALSE(judge_all(x).findings.level.has_value());
  add_noise(x, 1e-5);
  CHECK(judge_all(x).findings.verdict == Verdict::no_signal);
  const auto hum = sine(50.0, 1e-4, 2.0);
  for (std::size_t n = 0; n < x.size(); ++n) x[n] += hum[n];
  CHECK(judge_all(x).findings.verdict == Verdict::no_signal);
}

TEST_CASE("verdict: noise gets level and noise, never THD+N") {
  std::vector<double> x(96000, 0.0);
  add_noise(x, 0.1);
  const auto a = judge_all(x);
  CHECK(a.findings.verdict == Verdict::no_tone);
  CHECK_FALSE(a.findings.thdn.has_value());
  CHECK(within_abs(a.findings.level->value(), -20.0 + 3.0103, 0.1));
  REQUIRE(a.findings.noise.has_value());
}

TEST_CASE(
    "verdict: clipping in the middle of a clean file makes the whole clipped and the segment says "
    "when") {
  auto x = sine(997.0, 0.5, 20.0);
  for (std::size_t n = 480000; n < 576000; ++n) x[n] = std::clamp(x[n], -0.47, 0.47);
  add_noise(x, 1e-5);
  const auto a = judge_all(x);
  CHECK(a.findings.verdict == Verdict::clipped);
  REQUIRE(a.segments.size() >= 3);
  bool found = false;
  for (const auto& s : a.segments) {
    if (s.findings.verdict != Verdict::clipped) continue;
    found = true;
    CHECK(s.start.value() >= 8.9);
    CHECK(s.end.value() <= 13.1);
  }
  CHECK(found);
}

TEST_CASE(
    "verdict: of several levels that clip, the one farthest over is told, and that they rise") {
  std::vector<double> x;
  for (const double peak : {0.1, 0.2, 0.4, 0.8}) {
    for (const double v : sine(997.0, peak, peak < 0.15 ? 2.0 : 1.0)) {
      x.push_back(std::clamp(v, -0.35, 0.35));
    }
  }
  add_noise(x, 1e-4);
  const auto a = judge_all(x);
  CHECK(a.findings.verdict == Verdict::clipped);
  REQUIRE(a.findings.cause);
  CHECK(a.findings.reasons.back().find("From 4.0 s to 5.0 s") == 0);
  // 20·log10(0.8/0.35) = 7.18 dB, worked out by hand
  CHECK(a.findings.reasons.back().find("7.18 dB") != std::string::npos);
  CHECK(a.findings.cause->sentence.find("7.18 dB") != std::string::npos);
  CHECK(a.level_rises);
  REQUIRE(a.figures_of);  // the first level, which lasts longest
  CHECK(within_abs(a.figures_of->start.value(), 0.0, 0.1));
  CHECK(within_abs(a.figures_of->end.value(), 2.0, 0.1));
  CHECK_FALSE(judge_all(sine(997.0, 0.1, 2.0)).figures_of);
  CHECK_FALSE(judge_all(sine(997.0, 0.1, 2.0)).level_rises);
}

TEST_CASE("verdict: a NaN makes a channel unusable and says how many") {
  auto x = sine(997.0, 0.5, 2.0);
  x[1000] = std::numeric_limits<double>::quiet_NaN();
  const auto a = judge_all(x);
  CHECK(a.findings.verdict == Verdict::unusable);
  CHECK(a.findings.reasons.at(0).find("1 sample") != std::string::npos);
}

TEST_CASE("verdict: a tone whose third harmonic is out of the band says that THD+N is blind") {
  const auto a = judge_all(sine(7000.0, 0.5, 2.0));
  REQUIRE(a.findings.reasons.size() == 1);
  CHECK(a.findings.reasons[0].find("third harmonic") != std::string::npos);
}

TEST_CASE("verdict: volts follow from the volts at full scale") {
  Limits limits;
  limits.volts_per_full_scale = Volts(40.0);
  // 40 V peak at full scale: a sine of half that has 20/√2 V RMS.
  CHECK(within_abs(judge_all(sine(997.0, 0.5, 2.0), {}, limits).findings.level_v->value(), 14.1421,
                   0.0001));
}

TEST_CASE("verdict: flat tops at exactly one code below full scale are the recording input's") {
  for (const double ceiling : {0.3, 0.7, 0.95}) {
    for (const int bits : {16, 24}) {
      CAPTURE(ceiling);
      CAPTURE(bits);
      auto x = sine(997.0, 1.1 * ceiling, 2.0);
      add_noise(x, 1e-4);
      for (double& v : x) v = std::clamp(v, -ceiling, ceiling);
      quantise(x, bits);
      const auto a = judge_all(x, std::ldexp(1.0, 1 - bits));
      CHECK(a.findings.verdict == Verdict::input_overload);
      CHECK(a.findings.input_overload.present);
      CHECK(a.findings.input_overload.longest_run > 6);
      CHECK(within_abs(a.findings.peak_positive->level.value(), 20.0 * std::log10(ceiling), 0.01));
    }
  }
}

TEST_CASE(
    "verdict: in music, the highest code held twice is the input's, held once it may be chance") {
  const auto overload_with = [](int plateaus) {
    std::vector<double> x(96000);
    add_noise(x, 0.05);
    for (int i = 0; i < plateaus; ++i) {
      std::fill_n(x.begin() + 10000 + 20000 * i, 6, 0.7);
    }
    quantise(x, 16);
    return judge_all(x, 0x1p-15).findings.input_overload.present;
  };
  CHECK_FALSE(overload_with(1));
  CHECK(overload_with(2));
  CHECK(overload_with(4));
}

TEST_CASE("verdict: the same flat tops with the noise behind them are an amplifier's") {
  for (const double ceiling : {0.3, 0.7, 0.95}) {
    for (const int bits : {16, 24}) {
      CAPTURE(ceiling);
      CAPTURE(bits);
      auto x = sine(997.0, 1.1 * ceiling, 2.0);
      for (double& v : x) v = std::clamp(v, -ceiling, ceiling);
      add_noise(x, 1e-4);
      quantise(x, bits);
      const auto a = judge_all(x, std::ldexp(1.0, 1 - bits));
      CHECK(a.findings.verdict == Verdict::clipped);
      CHECK_FALSE(a.findings.input_overload.present);
    }
  }
}

TEST_CASE(
    "verdict: a clip without any noise cannot be told from the input's, and is called clipped") {
  auto x = sine(997.0, 0.55, 2.0);
  for (double& v : x) v = std::clamp(v, -0.5, 0.5);
  CHECK(judge_all(x).findings.verdict == Verdict::clipped);
}

TEST_CASE(
    "verdict: the folded waveform bears the model out, and has nothing to say of a clean tone") {
  auto x = sine(997.0, 0.5, 2.0);
  add_noise(x, 1e-4);
  CHECK_FALSE(judge_all(x).findings.flat_top.fold_agrees);
  auto y = sine(50.0, 0.55, 2.0);
  for (double& v : y) v = std::clamp(v, -0.45, 0.5);
  add_noise(y, 1e-4);
  const auto a = judge_all(y);
  CHECK(a.findings.verdict == Verdict::clipped);
  REQUIRE(a.findings.flat_top.fold_agrees);
  CHECK(*a.findings.flat_top.fold_agrees);
}

TEST_CASE("verdict: where harmonics are too few to tell flat tops, it says so and does not guess") {
  auto x = sine(5003.0, 0.55, 2.0);
  for (double& v : x) v = std::clamp(v, -0.5, 0.5);
  add_noise(x, 1e-4);
  const auto a = judge_all(x);
  CHECK_FALSE(a.findings.flat_top.present);
  CHECK(std::any_of(a.findings.reasons.begin(), a.findings.reasons.end(), [](const auto& reason) {
    return reason.find("too few or too weak") != std::string::npos;
  }));
}

// Numbers in sentences: printed as printf prints them, and never cut.

using railtap::judge::sentence;

TEST_CASE("sentence: numbers come out as ISO 9899:2018, 7.21.6.1 has it") {
  CHECK(sentence("%.1f dB at %.3g Hz, 100 %%", 0.25, 1234.0) == "0.2 dB at 1.23e+03 Hz, 100 %");
  CHECK(sentence("none").size() == 4);
}

TEST_CASE("sentence: a long one stays whole") {
  const std::string text = sentence("%.0f%300s%.0f", 1.0, "", 2.0);
  CHECK(text.size() == 302);
  CHECK(text.back() == '2');
}
