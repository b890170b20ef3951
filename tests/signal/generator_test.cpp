// SPDX-License-Identifier: MIT
// The generator: exact levels and spectra, no clicks, nothing over full scale; third octaves.

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include <doctest/doctest.h>

#include "measure/tone_fit.hpp"
#include "signal/generator.hpp"
#include "signal/marker.hpp"
#include "signal/tone.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;
using namespace railtap::signal;

namespace {

constexpr Hertz rate48{48000.0};

struct Stereo {
  std::vector<double> left, right;
};

Stereo render(const Track& track, Hertz rate, double highest_peak = highest_float_peak,
              std::size_t block_frames = 4096) {
  Generator generator(track, rate, highest_peak);
  std::vector<double> block(2 * block_frames);
  Stereo out;
  while (const std::size_t frames = generator.render(block)) {
    for (std::size_t i = 0; i < frames; ++i) {
      out.left.push_back(block[2 * i]);
      out.right.push_back(block[2 * i + 1]);
    }
  }
  CHECK(out.left.size() == static_cast<std::size_t>(generator.frames()));
  return out;
}

Track track_of(const Signal& signal, Channels channels = Channels::both,
               MarkerBand marker = MarkerBand::none) {
  return {"t", "", "", "", "", {{signal, channels, marker}}};
}

double rms(std::span<const double> x) {
  double sum = 0.0;
  for (const double v : x) sum += v * v;
  return std::sqrt(sum / static_cast<double>(x.size()));
}

double peak(std::span<const double> x) {
  double most = 0.0;
  for (const double v : x) most = std::max(most, std::abs(v));
  return most;
}

// Everything but the fundamental over the fundamental, in dB.
double residual_db(std::span<const double> x, double cycles_per_sample) {
  measure::ToneFitter fitter;
  measure::ToneFit fit;
  fitter.fit_known_frequency(x, cycles_per_sample, 1, fit);
  std::vector<double> rest(x.size());
  fitter.residual(x, fit, rest);
  return 20.0 * std::log10(rms(rest) / rms(x));
}

double rounded(double x, int bits) {
  return std::nearbyint(std::ldexp(x, bits - 1)) * std::ldexp(1.0, 1 - bits);
}

std::vector<Signal> signals_reaching(Dbfs level) {
  const Seconds length{0.8};
  return {Sine{Hertz(997), level, length},
          LevelLadder{Hertz(1000), level - Decibels(3), level, Decibels(1), Seconds(0.2)},
          SteppedSine{{Hertz(20), Hertz(31.5), Hertz(50)}, level, Seconds(0.3)},
          LogSweep{Hertz(20), Hertz(18000), level, Seconds(1)}};
}

}  // namespace

TEST_CASE("oscillator: the residual of a tone is below -240 dB, also after twelve hours") {
  for (const double frequency : {40.0, 50.0, 997.0, 1000.0, 6661.7}) {
    const Oscillator oscillator(Hertz(frequency), rate48);
    for (const std::int64_t start : {std::int64_t{0}, std::int64_t{12} * 3600 * 48000}) {
      std::vector<double> x(24000);
      oscillator.render(start, x);
      // The limit here is the fit, whose frequency is one double; the promise is -180 dB.
      CHECK(residual_db(x, frequency / 48000.0) < -240.0);
    }
  }
}

TEST_CASE("oscillator: the phase after twelve hours is the one that whole numbers give") {
  const Oscillator oscillator(Hertz(997), Hertz(44100));
  const std::int64_t n = std::int64_t{12} * 3600 * 44100 + 12345;
  const double expected = static_cast<double>((997 * n) % 44100) / 44100.0;
  CHECK(test::within_abs(oscillator.cycles_at(n), expected, 1e-15));
}

TEST_CASE("sine: the RMS of a -10 dBFS tone is 10^(-10/20)/sqrt 2") {
  const Stereo out = render(track_of(Sine{Hertz(1000), Dbfs(-10), Seconds(1)}), rate48);
  const std::span inner = std::span(out.left).subspan(4800, 38400);
  CHECK(test::within_db(rms(inner), std::pow(10.0, -0.5) / std::numbers::sqrt2, 1e-9));
  CHECK(out.left == out.right);
}

TEST_CASE("sine: one channel alone leaves the other at zero") {
  const Stereo out =
      render(track_of(Sine{Hertz(1000), Dbfs(-10), Seconds(0.1)}, Channels::left), rate48);
  CHECK(peak(out.left) > 0.3);
  CHECK(peak(out.right) == 0.0);
}

TEST_CASE("generator: how a caller splits a track does not change a sample") {
  for (const Signal& signal : signals_reaching(Dbfs(-1))) {
    const Track track = track_of(signal, Channels::both, MarkerBand::mid);
    if (std::holds_alternative<SteppedSine>(signal)) continue;
    if (const auto* sweep = std::get_if<LogSweep>(&signal); sweep != nullptr) continue;
    const Stereo a = render(track, rate48, highest_float_peak, 4096);
    const Stereo b = render(track, rate48, highest_float_peak, 777);
    CHECK(a.left == b.left);
  }
}

TEST_CASE("generator: no rounded sample leaves the codes at any rate and width, dither included") {
  for (const double rate : {44100.0, 48000.0, 88200.0, 96000.0}) {
    for (const int bits : {16, 24}) {
      const double step = std::ldexp(1.0, 1 - bits);
      for (const Signal& signal : signals_reaching(Dbfs(0))) {
        Stereo out = render(track_of(signal), Hertz(rate), Dither::highest_peak(step));
        Dither dither(step);
        dither.add(out.left);
        double most = 0.0;
        for (const double v : out.left) most = std::max(most, std::abs(rounded(v, bits)));
        CHECK(most <= 1.0 - step);
        CHECK(most >= 1.0 - 5.0 * step - 1e-3);  // and full scale is used
      }
    }
  }
}

TEST_CASE("generator: float tones at 0 dBFS stay below 1, also as 32-bit floats") {
  for (const Signal& signal : signals_reaching(Dbfs(0))) {
    const Stereo out = render(track_of(signal), rate48);
    const double most = peak(out.left);
    CHECK(static_cast<float>(most) < 1.0F);
    CHECK(most > 0.999);
  }
}

TEST_CASE("dither: a rounded silence has the noise of TPDF, step/2, within 0.1 dB") {
  for (const int bits : {16, 24}) {
    const double step = std::ldexp(1.0, 1 - bits);
    std::vector<double> x(200000, 0.0);
    Dither(step).add(x);
    double mean = 0.0;
    for (double& v : x) mean += (v = rounded(v, bits));
    CHECK(test::within_db(rms(x), step / 2.0, 0.1));
    CHECK(std::abs(mean / 200000.0) < 0.01 * step);
  }
}

TEST_CASE("dither: a 16-bit tone's residual is -93.3 dB, that of TPDF, and does not follow it") {
  // SNR of a full-scale sine with TPDF: 98.09 - 4.77 = 93.32 dB [derived: 6.0206 N + 1.76 - 4.77].
  const double step = std::ldexp(1.0, -15);
  for (const double level : {0.0, -20.0}) {
    Stereo out = render(track_of(Sine{Hertz(997), Dbfs(level), Seconds(2)}), rate48,
                        Dither::highest_peak(step));
    Dither(step).add(out.left);
    for (double& v : out.left) v = rounded(v, 16);
    const std::span inner = std::span(out.left).subspan(4800, 86400);
    CHECK(test::within_abs(residual_db(inner, 997.0 / 48000.0), -93.32 - level, 0.1));
  }
}

TEST_CASE("generator: the second difference is bounded, so nothing clicks") {
  // Of a sine: peak·(2·sin(pi·f/rate))². A fade of 10 ms adds little; a step in level or phase
  // would add its height.
  const double slack = 1.1;
  const auto second_difference = [](std::span<const double> x) {
    double most = std::max(std::abs(x[0]), std::abs(x.back()));
    for (std::size_t n = 1; n + 1 < x.size(); ++n)
      most = std::max(most, std::abs(x[n - 1] - 2.0 * x[n] + x[n + 1]));
    return most;
  };
  const auto bound = [](double peak_fs, double frequency_hz) {
    return peak_fs * std::pow(2.0 * std::sin(std::numbers::pi * frequency_hz / 48000.0), 2);
  };
  const auto check = [&](const Signal& signal, double highest_hz, MarkerBand marker) {
    const Stereo out = render(track_of(signal, Channels::both, marker), rate48);
    const double limit = slack * bound(std::min(1.0, nominal_peak(signal)), highest_hz);
    CHECK(second_difference(out.left) < limit);
    CHECK(second_difference(out.right) < limit);
  };
  check(Sine{Hertz(997), Dbfs(0), Seconds(0.3)}, 997, MarkerBand::mid);
  check(LevelLadder{Hertz(1000), Dbfs(-12), Dbfs(0), Decibels(3), Seconds(0.1)}, 1000,
        MarkerBand::mid);
  check(LevelLadder{Hertz(50), Dbfs(-6), Dbfs(0), Decibels(1), Seconds(0.1)}, 50, MarkerBand::none);
  check(SteppedSine{{Hertz(20), Hertz(40), Hertz(100)}, Dbfs(-3), Seconds(0.4)}, 100,
        MarkerBand::none);
  check(ChannelPattern{Dbfs(-10)}, 677, MarkerBand::none);
}

TEST_CASE("marker: its frequency changes but neither its level nor its phase does") {
  // First difference of a sine: peak·2·sin(pi·f/rate); of a jump in phase, up to twice the peak.
  const Track track = track_of(Silence{Seconds(0.1)}, Channels::both, MarkerBand::low);
  const Stereo out = render(track, rate48);
  double most = 0.0;
  for (std::size_t n = 1; n < out.left.size(); ++n)
    most = std::max(most, std::abs(out.left[n] - out.left[n - 1]));
  CHECK(most < 1.01 * 0.1 * 2.0 * std::sin(std::numbers::pi * 80.0 / 48000.0));
  CHECK(test::within_rel(peak(out.left), 0.1, 1e-6));
}

TEST_CASE("ladder: every step has its level, on the grid that the description gives") {
  const LevelLadder ladder{Hertz(1000), Dbfs(-40), Dbfs(0), Decibels(1), Seconds(0.2)};
  CHECK(ladder_steps(ladder) == 41);
  const Stereo out = render(track_of(ladder), rate48);
  for (int k = 0; k < 41; ++k) {
    const std::span step =
        std::span(out.left).subspan(static_cast<std::size_t>(k) * 9600 + 2400, 4800);
    CHECK(test::within_db(rms(step), sine_peak(Dbfs(k - 40.0)) / std::numbers::sqrt2, 1e-5));
  }
}

TEST_CASE("ladder: a step that does not divide the range is refused") {
  CHECK_THROWS_AS((void)ladder_steps({Hertz(1000), Dbfs(-40), Dbfs(0), Decibels(0.3), Seconds(1)}),
                  Error);
  CHECK(ladder_steps({Hertz(1000), Dbfs(-3), Dbfs(0), Decibels(0.1), Seconds(1)}) == 31);
}

TEST_CASE("sweep: the frequency is right where its formula says") {
  // f(t) = f1·(f2/f1)^(t/T): at half the time the geometric mean.
  const LogSweep sweep{Hertz(20), Hertz(20000), Dbfs(-6), Seconds(10)};
  const Stereo out = render(track_of(sweep), rate48);
  int crossings = 0;  // from 4.95 s to 5.05 s
  for (std::size_t n = 237600; n < 242400; ++n)
    if (out.left[n] < 0.0 && out.left[n + 1] >= 0.0) ++crossings;
  // Integral of 632.46·e^(t·ln(1000)/10) over ±0.05 s: 63.26 cycles.
  CHECK(std::abs(crossings - 63.26) <= 1.0);
}

TEST_CASE("two tones: amplitudes stand 4 to 1 and the RMS is the level") {
  const TwoTone two{Hertz(60), Hertz(7000), 4.0, Dbfs(-6), Seconds(1.4)};
  const Stereo out = render(track_of(two), rate48);
  const std::span inner = std::span(out.left).subspan(4800, 48000);
  CHECK(test::within_db(rms(inner), sine_peak(Dbfs(-6)) / std::numbers::sqrt2, 1e-6));
  measure::ToneFitter fitter;
  measure::ToneFit low, high;
  fitter.fit_known_frequency(inner, 60.0 / 48000.0, 1, low);
  fitter.fit_known_frequency(inner, 7000.0 / 48000.0, 1, high);
  CHECK(test::within_rel(std::abs(low.phasor[0]) / std::abs(high.phasor[0]), 4.0, 1e-6));
}

TEST_CASE("polarity: upwards it reaches 12 dB further than downwards, and the phases agree") {
  const PolarityPulses pulses{Hertz(500), Dbfs(-12), Seconds(1)};
  const Stereo out = render(track_of(pulses), rate48);
  const auto [low, high] = std::minmax_element(out.left.begin(), out.left.end());
  CHECK(test::within_db(*high, -*low * 4.0, 0.05));  // 2.5 against 0.625
  const std::span inner = std::span(out.left).subspan(4803, 28800);
  CHECK(test::within_db(rms(inner), sine_peak(Dbfs(-12)) / std::numbers::sqrt2, 1e-6));
  measure::ToneFitter fitter;
  measure::ToneFit fit;
  fitter.fit_known_frequency(inner, 500.0 / 48000.0, 4, fit);
  const double relation = 2.0 * std::arg(fit.phasor[0]) - std::arg(fit.phasor[1]);
  CHECK(test::within_abs(std::cos(relation), 1.0, 1e-6));
}

TEST_CASE("pink noise: its RMS is the level and its peak stays below full scale") {
  const Stereo out =
      render(track_of(PinkNoise{Hertz(20), Hertz(20000), Dbfs(-20), Seconds(6)}), rate48);
  const std::span period = std::span(out.left).subspan(4800, std::size_t{1} << 18);
  CHECK(test::within_db(rms(period), sine_peak(Dbfs(-20)) / std::numbers::sqrt2, 1e-6));
  CHECK(peak(out.left) < 0.4);
  CHECK_THROWS_AS(
      render(track_of(PinkNoise{Hertz(20), Hertz(20000), Dbfs(-10), Seconds(1)}), rate48), Error);
}

TEST_CASE("signals that cannot be played are refused with what can") {
  CHECK_THROWS_AS(render(track_of(Sine{Hertz(22000), Dbfs(-10), Seconds(1)}), rate48), Error);
  CHECK_THROWS_AS(render(track_of(Sine{Hertz(1000), Dbfs(1), Seconds(1)}), rate48), Error);
  CHECK_THROWS_AS(render(track_of(Sine{Hertz(1000), Dbfs(-1), Seconds(0)}), rate48), Error);
  CHECK_THROWS_AS(
      render(track_of(TwoTone{Hertz(60), Hertz(7000), 4.0, Dbfs(0), Seconds(1)}), rate48), Error);
  CHECK_THROWS_AS(render(track_of(LogSweep{Hertz(2000), Hertz(20), Dbfs(-6), Seconds(1)}), rate48),
                  Error);
}

using namespace railtap;
using namespace railtap::signal;

TEST_CASE("third octaves: from 20 Hz on as ISO 266 rounds them") {
  // ISO 266:1997, table 1, third-octave column.
  constexpr std::array<double, 31> printed{20,   25,   31.5, 40,    50,    63,    80,   100,
                                           125,  160,  200,  250,   315,   400,   500,  630,
                                           800,  1000, 1250, 1600,  2000,  2500,  3150, 4000,
                                           5000, 6300, 8000, 10000, 12500, 16000, 20000};
  const auto bands = third_octaves(13, 31);
  REQUIRE(bands.size() == printed.size());
  for (std::size_t k = 0; k < bands.size(); ++k)
    CHECK(test::within_rel(bands[k].value(), printed[k], 1e-12));
  CHECK(first_third_octave(bands) == 13);
}

TEST_CASE("third octaves: what leaves the table, skips a band or is no band is none") {
  CHECK(third_octaves(13, 32).empty());
  CHECK(third_octaves(-1, 2).empty());
  CHECK_FALSE(first_third_octave(std::vector<Hertz>{}).has_value());
  CHECK_FALSE(first_third_octave(std::vector<Hertz>{Hertz(20), Hertz(31.5)}).has_value());
  CHECK_FALSE(first_third_octave(std::vector<Hertz>{Hertz(45)}).has_value());
  CHECK_FALSE(first_third_octave(std::vector<Hertz>{Hertz(0.5)}).has_value());
  CHECK(first_third_octave(std::vector<Hertz>{Hertz(63)}) == 18);
}

// The marker's numbers survive packing, and a wrong symbol is noticed.

using namespace railtap;
using namespace railtap::signal;

namespace {

const LevelLadder ladder{Hertz(997), Dbfs(-40), Dbfs(0), Decibels(0.5), Seconds(1.2)};

}  // namespace

TEST_CASE("marker: a ladder comes back from its symbols") {
  const auto found = announced_signal(announce(ladder));
  REQUIRE(found.has_value());
  const auto& back = std::get<LevelLadder>(*found);
  CHECK(back.frequency.value() == 997.0);
  CHECK(test::within_abs(back.start.value(), -40.0, 1e-9));
  CHECK(test::within_abs(back.stop.value(), 0.0, 1e-9));
  CHECK(test::within_abs(back.step.value(), 0.5, 1e-9));
  CHECK(test::within_abs(back.dwell.value(), 1.2, 1e-9));
}

TEST_CASE("marker: sweep, polarity, pattern and silence come back too") {
  const auto sweep = std::get<LogSweep>(
      *announced_signal(announce(LogSweep{Hertz(20), Hertz(20000), Dbfs(-15.5), Seconds(20)})));
  CHECK(sweep.low.value() == 20.0);
  CHECK(sweep.high.value() == 20000.0);
  CHECK(test::within_abs(sweep.level.value(), -15.5, 1e-9));
  CHECK(sweep.length.value() == 20.0);
  const auto polarity = std::get<PolarityPulses>(
      *announced_signal(announce(PolarityPulses{Hertz(500), Dbfs(-12), Seconds(3)})));
  CHECK(polarity.fundamental.value() == 500.0);
  CHECK(std::get<ChannelPattern>(*announced_signal(announce(ChannelPattern{Dbfs(-15)})))
            .level.value() == doctest::Approx(-15.0));
  CHECK(std::get<Silence>(*announced_signal(announce(Silence{Seconds(5)}))).length.value() == 5.0);
}

TEST_CASE("marker: a stepped sine comes back with its frequencies, if they are third octaves") {
  const std::vector<Hertz> bass{Hertz(20), Hertz(25), Hertz(31.5), Hertz(40), Hertz(50)};
  const auto back =
      std::get<SteppedSine>(*announced_signal(announce(SteppedSine{bass, Dbfs(-20), Seconds(4)})));
  REQUIRE(back.frequencies.size() == bass.size());
  for (std::size_t k = 0; k < bass.size(); ++k)
    CHECK(test::within_rel(back.frequencies[k].value(), bass[k].value(), 1e-12));
  CHECK(test::within_abs(back.level.value(), -20.0, 1e-9));
  CHECK(back.dwell.value() == 4.0);
  const SteppedSine uneven{{Hertz(20), Hertz(50)}, Dbfs(-20), Seconds(4)};
  CHECK_THROWS_WITH_AS((void)announce(uneven), doctest::Contains("third octaves"), Error);
}

TEST_CASE("marker: any single wrong symbol is noticed") {
  const MarkerData data = announce(ladder);
  for (std::size_t i = 0; i < data.size(); ++i) {
    for (std::uint8_t change = 1; change < 4; ++change) {
      MarkerData wrong = data;
      wrong[i] = static_cast<std::uint8_t>((wrong[i] + change) % 4);
      CHECK_FALSE(announced_signal(wrong).has_value());
    }
  }
}

TEST_CASE("marker: what it cannot carry is refused") {
  CHECK_THROWS_AS(
      (void)announce(LevelLadder{Hertz(1000), Dbfs(-40), Dbfs(0), Decibels(0.25), Seconds(1)}),
      Error);
  CHECK_THROWS_AS((void)announce(PinkNoise{Hertz(20), Hertz(20000), Dbfs(-20), Seconds(1)}), Error);
}
