// SPDX-License-Identifier: MIT
// The cause that is named, and that what is not clipped is never called so.
#include "judge/cause.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include "judge/analysis.hpp"
#include "support/basics.hpp"

using namespace railtap;
using namespace railtap::judge;
using railtap::test::within_abs;
using std::numbers::pi;

namespace {

constexpr double rate = 48000.0;

std::vector<double> tone(double peak, double hz = 997.0, double noise_rms = 1e-5) {
  test::Random random(5);
  test::Gaussian noise(0.0, noise_rms);
  std::vector<double> x(static_cast<std::size_t>(2.0 * rate));
  for (std::size_t n = 0; n < x.size(); ++n)
    x[n] = peak * std::sin(2.0 * pi * hz * static_cast<double>(n) / rate + 0.3) + noise(random);
  return x;
}

Findings judged(const std::vector<double>& x, std::optional<double> step = {}, Limits limits = {}) {
  measure::RecordingMeter meter(Hertz(rate), 1, {limits.band, step});
  meter.add(x);
  return judge_channel(1, meter.finish()[0], Hertz(rate), limits).findings;
}

}  // namespace

TEST_CASE("cause: a clean tone has none and is not clipped") {
  const Findings f = judged(tone(0.5));
  CHECK(f.clipped == false);
  CHECK_FALSE(f.cause);
}

TEST_CASE("cause: hum of 1.1 % is hum at 50 Hz, not clipped, with the share and the remedy") {
  auto x = tone(0.5);
  for (std::size_t n = 0; n < x.size(); ++n)
    x[n] += 0.0055 * std::sin(2.0 * pi * 50.0 * static_cast<double>(n) / rate);
  const Findings f = judged(x);
  CHECK(f.verdict == Verdict::distorted);
  CHECK(f.clipped == false);
  REQUIRE(f.cause);
  CHECK(f.cause->kind == CauseKind::hum);
  CHECK(within_abs(f.cause->frequency->value(), 50.0, 0.1));
  CHECK(f.cause->share->value() > 99.0);
  CHECK(f.cause->sentence == "Not clipped: the 1.1 % is hum at 50 Hz.");
  CHECK(f.cause->remedy.find("ground") != std::string::npos);
}

TEST_CASE("cause: a whine that moves slowly, from line to line, has a pitch that moves") {
  for (const double hz_per_s : {0.0, 3.0, 20.0}) {
    CAPTURE(hz_per_s);
    auto x = tone(0.5);
    x.resize(static_cast<std::size_t>(8.0 * rate));
    for (std::size_t n = 0; n < x.size(); ++n) {
      const double t = static_cast<double>(n) / rate;
      x[n] = 0.5 * std::sin(2.0 * pi * 997.0 * t) +
             0.01 * std::sin(2.0 * pi * (2000.0 + 0.5 * hz_per_s * t) * t);
    }
    const Findings f = judged(x);
    REQUIRE(f.cause);
    CHECK(f.cause->kind == CauseKind::whine);
    CHECK((f.cause->sentence.find("whose pitch moves") != std::string::npos) == (hz_per_s > 0.0));
    CHECK(f.cause->share->value() > 95.0);
  }
}

TEST_CASE("cause: flat tops are clipping, by as much as to turn down") {
  auto x = tone(0.5);
  for (double& v : x) v = std::clamp(v, -0.4, 0.4);
  const Findings f = judged(x);
  CHECK(f.clipped == true);
  REQUIRE(f.cause);
  CHECK(f.cause->kind == CauseKind::clipping);
  CHECK(within_abs(f.cause->turn_down->value(), 20.0 * std::log10(0.5 / 0.4), 0.02));
  CHECK(f.cause->input_excluded == false);
}

TEST_CASE("cause: of a square wave no overdrive is told that the rest of the sine does not show") {
  auto x = tone(40.0, 100.0);
  for (double& v : x) v = std::clamp(v, -0.4, 0.4);
  const Findings f = judged(x);
  CHECK(f.clipped == true);
  REQUIRE(f.cause);
  CHECK(f.cause->kind == CauseKind::clipping);
  CHECK_FALSE(f.cause->turn_down);
  CHECK(f.cause->sentence.find("more than 20 dB over the rail, or a square wave") !=
        std::string::npos);
  for (const std::string& reason : f.reasons) {
    CAPTURE(reason);
    CHECK((reason.find("exceed that rail") == std::string::npos ||
           reason.find("by more than 20 dB, or a square wave was played.") != std::string::npos));
  }
}

TEST_CASE("cause: where the shape says that nothing is clipped, no reason doubts it") {
  // A hyperbolic tangent: the clipped-sine model alone leaves it open.
  for (const double drive : {1.0, 1.5}) {
    auto x = tone(1.0);
    for (double& v : x) v = 0.4 * std::tanh(drive * v);
    const Findings f = judged(x);
    CAPTURE(drive);
    CHECK(f.clipped == false);
    REQUIRE(f.cause);
    CHECK(f.cause->kind == CauseKind::soft_compression);
    for (const std::string& reason : f.reasons)
      CHECK(reason.find("to tell flat tops") == std::string::npos);
  }
}

TEST_CASE("cause: a rail that ripples with its supply is no low-pass; a low-pass is one") {
  // The rail falls in a straight line by 5 %, 120 times a second, as a capacitor behind a
  // rectifier.
  for (const double hz : {50.0, 100.0}) {
    CAPTURE(hz);
    std::vector<double> x = tone(0.5, hz);
    for (std::size_t n = 0; n < x.size(); ++n) {
      const double share = std::fmod(120.0 * static_cast<double>(n) / rate, 1.0);
      const double rail = 0.354 * (1.0 - 0.05 * share);
      x[n] = std::clamp(x[n], -rail, rail);
    }
    const Findings f = judged(x);
    CHECK(f.clipped == true);
    REQUIRE(f.cause);
    CHECK(f.cause->kind == CauseKind::clipping);
    CHECK(f.cause->sentence.find("low-pass") == std::string::npos);
    // At 100 Hz the clipped-sine model explains the mean as well as a filter would.
    if (hz == 50.0) CHECK(f.cause->sentence.find("at a rail that moves") != std::string::npos);
    CHECK(within_abs(f.cause->turn_down->value(), 20.0 * std::log10(0.5 / (0.975 * 0.354)), 0.05));
  }
  std::vector<double> x = tone(0.5, 100.0);
  double y = 0.0;
  for (double& v : x) {
    const double t = static_cast<double>(&v - x.data()) / rate;
    y += (1.0 - std::exp(-2.0 * pi * 400.0 / rate)) * (std::clamp(v, -0.4, 0.4) - y);
    // Hum at 50 and 150 Hz is a pair to either side of the tone, and no ripple.
    v = y + 0.005 * std::sin(2.0 * pi * 50.0 * t) + 0.004 * std::sin(2.0 * pi * 150.0 * t);
  }
  CHECK(judged(x).cause->kind == CauseKind::filtered_clipping);
}

TEST_CASE("cause: an input that is known to take more is not suspected of the flat top") {
  auto x = tone(0.5);
  for (double& v : x) v = std::clamp(v, -0.4, 0.4);
  Limits limits;
  limits.input_clean_to = Dbfs(-3.0);  // the flat top lies at −8 dBFS
  CHECK(judged(x, {}, limits).cause->input_excluded == true);
}

TEST_CASE("cause: soft compression says by how much to turn down for the limit") {
  // x − a·x³: the third harmonic is a·A³/4 over A − 3a·A³/4, so 3 % falls to 1 % 4.5 to 4.9 dB
  // lower (derived).
  auto x = tone(0.5);
  for (double& v : x) v -= 0.44 * v * v * v;
  const Findings f = judged(x);
  REQUIRE(f.cause);
  CHECK(f.cause->kind == CauseKind::soft_compression);
  CHECK(f.clipped == false);
  const double a = 0.44 * 0.25;  // re the peak of 0.5
  const auto third = [&](double r) { return 0.25 * a * r * r / (1.0 - 0.75 * a * r * r); };
  const double ratio = std::pow(10.0, -f.cause->turn_down->value() / 20.0);
  CHECK(within_abs(100.0 * third(ratio), 1.0, 0.02));
}

TEST_CASE("cause: floating-point samples beyond full scale with round tops are no overload") {
  const Findings f = judged(tone(1.6));
  CHECK(f.verdict == Verdict::clean);
  CHECK(f.clipped == false);
}

TEST_CASE("cause: numbers that stop at full scale are an overload, as before") {
  auto x = tone(1.1, 997.0, 1e-6);
  for (double& v : x) v = std::clamp(v, -1.0, 1.0);
  CHECK(judged(x).verdict == Verdict::input_overload);
}

TEST_CASE("cause: eight bits are coarse, neither clipped nor overloaded, in any file") {
  for (const double hz : {50.0, 100.0, 997.0}) {
    auto x = tone(0.99, hz, 0.0);
    for (double& v : x) v = std::round(v * 127.0) / 128.0;
    for (const std::optional<double> step :
         {std::optional(1.0 / 128.0), std::optional(1.0 / 8388608.0), std::optional<double>()}) {
      const Findings f = judged(x, step);
      CAPTURE(hz);
      CHECK(f.verdict == Verdict::clean);
      CHECK(f.clipped != true);
    }
  }
}

TEST_CASE("cause: a damaged recording names its longest good part") {
  auto x = tone(0.5);
  x[20000] = std::numeric_limits<double>::quiet_NaN();
  const Findings f = judged(x);
  CHECK(f.verdict == Verdict::unusable);
  CHECK(f.reasons.at(0).find("--part 0.5s..2.0s") != std::string::npos);
}

namespace {

void silence(std::vector<double>& x, double first_s, double length_s) {
  const auto first = static_cast<std::size_t>(first_s * rate);
  for (std::size_t n = 0; n < static_cast<std::size_t>(length_s * rate); ++n) x[first + n] = 0.0;
}

std::vector<double> longer_tone(double seconds, double hz) {
  std::vector<double> x;
  for (int n = 0; n < static_cast<int>(seconds * rate); ++n)
    x.push_back(0.5 * std::sin(2.0 * pi * hz * n / rate));
  test::Random random(7);
  test::Gaussian noise(0.0, 1e-5);
  for (double& v : x) v += noise(random);
  return x;
}

}  // namespace

TEST_CASE("cause: gaps are counted, also those next to the start and the end") {
  for (const double hz : {50.0, 997.0}) {
    CAPTURE(hz);
    auto x = longer_tone(3.0, hz);
    silence(x, 0.12, 0.15);
    silence(x, 1.5, 0.02);
    silence(x, 2.85, 0.05);
    const Findings f = judged(x);
    CHECK(f.verdict == Verdict::clean);
    REQUIRE(f.cause);
    CHECK(f.cause->kind == CauseKind::gaps);
    CHECK(f.cause->sentence == "Not clipped: 3 gaps, the first at 0.12 s; the rest is clean.");
  }
}

TEST_CASE("cause: a tone that starts late or ends early has no gap") {
  auto late = longer_tone(3.0, 997.0);
  silence(late, 0.0, 0.33);
  CHECK_FALSE(judged(late).cause);
  auto early = longer_tone(3.0, 997.0);
  silence(early, 2.7, 0.3);
  CHECK_FALSE(judged(early).cause);
}

TEST_CASE("cause: a tone of another frequency behind a short pause is no gap") {
  auto x = longer_tone(2.0, 997.0);
  silence(x, 1.7, 0.1);
  for (std::size_t n = static_cast<std::size_t>(1.8 * rate); n < x.size(); ++n)
    x[n] = 0.5 * std::sin(2.0 * pi * 500.0 * static_cast<double>(n) / rate);
  CHECK_FALSE(judged(x).cause);
}

TEST_CASE("cause: clicks in a low tone are clicks, though they move its level") {
  auto x = longer_tone(4.0, 50.0);
  for (int i = 0; i < 9; ++i)
    for (std::size_t n = 0; n < 60; ++n)
      x[static_cast<std::size_t>((1.1 + 0.13 * i) * rate) + n] +=
          0.3 * std::sin(pi * (static_cast<double>(n) + 0.5) / 60.0);
  const Findings f = judged(x);
  CHECK(f.verdict == Verdict::clean);
  REQUIRE(f.cause);
  CHECK(f.cause->sentence == "Not clipped: 9 clicks, the first at 1.10 s; the rest is clean.");
}

TEST_CASE("cause: samples that are missing beside the border of two blocks are no click") {
  // Blocks of 1 s begin 0.1 s after the start of the tone.
  for (const double at : {1.08, 1.095, 1.105, 1.12}) {
    CAPTURE(at);
    auto x = longer_tone(3.0, 50.0);
    const auto first = x.begin() + static_cast<std::ptrdiff_t>(at * rate);
    x.erase(first, first + 400);
    const Findings f = judged(x);
    CHECK(f.verdict == Verdict::clean);
    REQUIRE(f.cause);
    CHECK(f.cause->kind == CauseKind::missing_samples);
    CHECK(f.cause->sentence.find("1 place where samples are missing, at 1.") != std::string::npos);
  }
}

TEST_CASE("cause: a speed that wavers is wow, by as much as it was made, and flutter where fast") {
  const auto wavering = [](double percent, double per_s) {
    std::vector<double> x = tone(0.0);
    x.resize(static_cast<std::size_t>(5.0 * rate));
    for (std::size_t n = 0; n < x.size(); ++n) {
      const double t = static_cast<double>(n) / rate;
      x[n] += 0.4 * std::sin(2.0 * pi * 1000.0 * t +
                             10.0 * percent / per_s * std::sin(2.0 * pi * per_s * t));
    }
    return judged(x);
  };
  for (const double per_s : {0.5, 1.0, 3.0}) {
    for (const double percent : {0.2, 1.0}) {
      CAPTURE(per_s);
      CAPTURE(percent);
      const Findings f = wavering(percent, per_s);
      CHECK(f.verdict == Verdict::no_tone);
      REQUIRE(f.cause);
      CHECK(f.cause->kind == CauseKind::speed_wavering);
      CHECK(f.cause->sentence.find("wavers (wow), by ") != std::string::npos);
    }
  }
  CHECK(wavering(0.2, 1.0).cause->sentence.find("by 0.2 %") != std::string::npos);
  CHECK(wavering(0.2, 8.0).cause->sentence.find("(flutter)") != std::string::npos);
}

TEST_CASE("cause: a sweep is called one, whatever its range") {
  for (const double octaves : {0.03, 1.0, 3.0, -3.0}) {
    CAPTURE(octaves);
    std::vector<double> x = tone(0.0);
    x.resize(static_cast<std::size_t>(6.0 * rate));
    const double growth = octaves * std::numbers::ln2 / 6.0;
    for (std::size_t n = 0; n < x.size(); ++n)
      x[n] += 0.4 * std::sin(2.0 * pi * 500.0 / growth *
                             std::expm1(growth * static_cast<double>(n) / rate));
    const Findings f = judged(x);
    REQUIRE(f.cause);
    CHECK(f.cause->kind == CauseKind::frequency_moving);
    CHECK(f.cause->sentence.find(octaves > 0.0 ? "rises from " : "falls from ") !=
          std::string::npos);
  }
}

TEST_CASE("cause: hum half a hertz beside the tone is hum, and no level that pumps") {
  std::vector<double> x = tone(0.4, 50.5);
  x.resize(static_cast<std::size_t>(6.0 * rate));
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    x[n] = 0.4 * std::sin(2.0 * pi * 50.5 * t) + 0.012 * std::sin(2.0 * pi * 50.0 * t + 1.0);
  }
  const Findings hum = judged(x);
  REQUIRE(hum.cause);
  CHECK(hum.cause->kind == CauseKind::hum);
  CHECK(within_abs(hum.cause->frequency->value(), 50.0, 0.05));
  CHECK(hum.cause->sentence.find("Hum at 50.0 Hz, 3 % of the tone") == 0);
  // As far beside a tone that is no mains': another tone. A level that goes so: pumping.
  std::vector<double> other(x.size());
  std::vector<double> pumping(x.size());
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    other[n] = 0.4 * std::sin(2.0 * pi * 1000.0 * t) + 0.012 * std::sin(2.0 * pi * 1000.5 * t);
    pumping[n] = (0.4 + 0.02 * std::sin(pi * t)) * std::sin(2.0 * pi * 1000.0 * t);
  }
  CHECK(judged(other).cause->kind == CauseKind::foreign_tone);
  CHECK(within_abs(judged(other).cause->frequency->value(), 1000.5, 0.05));
  CHECK(judged(pumping).cause->kind == CauseKind::level_pumping);
}

namespace {

// A cubic law, 0.2 s of it with noise of its own, as a block of a watched signal.
std::vector<double> bent_block(double cubic, double noise_rms, unsigned seed) {
  test::Random random(seed);
  test::Gaussian noise(0.0, noise_rms);
  std::vector<double> x(static_cast<std::size_t>(0.2 * rate));
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double v = 0.5 * std::sin(2.0 * pi * 997.0 * static_cast<double>(n) / rate);
    x[n] = v - cubic * v * v * v + noise(random);
  }
  return x;
}

measure::ChannelRecording recorded_block(const std::vector<double>& x) {
  measure::RecordingMeter meter(Hertz(rate), 1, {{}, std::nullopt});
  meter.add(x);
  return std::move(meter.finish()[0]);
}

}  // namespace

TEST_CASE("cause: a waveform that has not changed keeps its cause, one that has gets its own") {
  WaveformMemory memory;
  const auto cause_with = [&](const std::vector<double>& x, WaveformMemory* known) {
    const auto found =
        judge_channel(1, recorded_block(x), Hertz(rate), Limits{}, known).findings.cause;
    REQUIRE(found);
    REQUIRE(found->turn_down);
    return *found;
  };
  const Cause first = cause_with(bent_block(0.44, 1e-5, 1), &memory);
  const auto fitted = memory.series.phasor;
  const auto again = bent_block(0.44, 1e-5, 2);
  CHECK(cause_with(again, &memory).sentence == first.sentence);
  CHECK(memory.series.phasor == fitted);
  // What a fit of its own would have given, but for the noise.
  const Cause own = cause_with(again, nullptr);
  CHECK(own.kind == first.kind);
  CHECK(within_abs(own.turn_down->value(), first.turn_down->value(), 0.01));
  // A harmonic that is 2 % larger is another waveform.
  const auto more = bent_block(0.45, 1e-5, 3);
  const Cause moved = cause_with(more, &memory);
  CHECK(memory.series.phasor != fitted);
  CHECK(within_abs(moved.turn_down->value(), cause_with(more, nullptr).turn_down->value(), 1e-9));
  CHECK(*moved.turn_down > *first.turn_down);
}

TEST_CASE(
    "cause: the clip of a waveform that has not changed is that of before, at its own level") {
  const auto clipped = [](double peak, double rail, unsigned seed) {
    test::Random random(seed);
    test::Gaussian noise(0.0, 1e-5);
    std::vector<double> x(static_cast<std::size_t>(0.2 * rate));
    for (std::size_t n = 0; n < x.size(); ++n) {
      const double v = peak * std::sin(2.0 * pi * 50.0 * static_cast<double>(n) / rate);
      x[n] = std::clamp(v, -rail, rail) + noise(random);
    }
    const measure::ChannelRecording recording = recorded_block(x);
    return recording.segments.at(0).measurement.series;
  };
  WaveformMemory memory;
  const auto first = clip_of(clipped(0.5, 0.4, 1), memory);
  REQUIRE(first.positive.flat);
  // Half as loud by a control behind the stage that clips: the same waveform.
  const auto series = clipped(0.25, 0.2, 2);
  const auto again = clip_of(series, memory);
  const auto own = measure::fit_clipped_sine(series);
  CHECK(again.positive.overdrive.value() == first.positive.overdrive.value());
  CHECK(within_abs(again.positive.overdrive.value(), own.positive.overdrive.value(), 0.005));
  CHECK(within_abs(again.amplitude_fs, own.amplitude_fs, 1e-4));
  // Driven 0.05 dB further it is another one.
  const auto further = clipped(0.5029, 0.4, 3);
  CHECK(clip_of(further, memory).positive.overdrive.value() ==
        measure::fit_clipped_sine(further).positive.overdrive.value());
  // A clip that just begins is fitted every time.
  const auto onset = clipped(0.401, 0.4, 4);
  (void)clip_of(onset, memory);
  CHECK_FALSE(memory.clip);
}
