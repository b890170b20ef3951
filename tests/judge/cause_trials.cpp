// SPDX-License-Identifier: MIT
// Random recordings, each with one fault, whose cause has to be named; and never "clipped" where it
// is not.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <numbers>
#include <string>
#include <vector>

#include "judge/analysis.hpp"
#include "support/basics.hpp"
#include "support/clipped_tone.hpp"
#include "support/made_music.hpp"

using namespace railtap;
using namespace railtap::judge;
using namespace railtap::test;
using std::numbers::pi;

namespace {

constexpr double rate = 48000.0;

// A recording of one fault, and what it was made of.
struct Made {
  std::vector<double> samples;
  double hz = 0.0;
  std::string what;
};

double usual_frequency(Random& random) {
  const double any = log_between(random, 40.0, 2500.0);
  return one_of(random, 3) == 0 ? 50.0 : one_of(random, 2) == 0 ? 997.0 : any;
}

std::size_t orders_of(double hz) {
  return static_cast<std::size_t>(std::min(120.0, 23900.0 / hz));
}

// Samples of a tone with these harmonics behind a capacitor, in noise.
Made made_of(const Phasors& tone, double hz, Random& random, double seconds = 2.0) {
  Recorded as;
  as.fundamental_hz = hz;
  as.amplitude = log_between(random, 0.1, 0.9);
  as.snr_db = between(random, 60.0, 90.0);
  as.seconds = seconds;
  const auto behind = through(tone, hz, coupling(between(random, 0.0, 12.0)));
  return {samples_of(behind, as, one_of(random, 2) == 0 ? 16 : 24, random), hz, ""};
}

Made clean_tone(Random& random, double seconds = 2.0) {
  const double hz = usual_frequency(random);
  return made_of(shaped_sine([](double x) { return x; }, 3), hz, random, seconds);
}

double rms(const std::vector<double>& x) {
  double sum = 0.0;
  for (const double v : x) sum += v * v;
  return std::sqrt(sum / static_cast<double>(x.size()));
}

void add_line(std::vector<double>& x, double hz, double peak, double phase) {
  add_turning(x, std::polar(peak, phase - 0.5 * pi), std::polar(1.0, 2.0 * pi * hz / rate));
}

void add_noise(std::vector<double>& x, double level, Random& random) {
  Gaussian noise(0.0, level);
  for (double& v : x) v += noise(random);
}

// 1.5 to 10 % of the tone.
double some_share(Random& random) {
  return log_between(random, 0.015, 0.1);
}

Made with_hum(Random& random) {
  Made m = clean_tone(random);
  const double mains = one_of(random, 2) == 0 ? 50.0 : 60.0;
  if (std::abs(std::remainder(mains, m.hz)) < 3.0 || std::abs(std::remainder(m.hz, mains)) < 12.0) {
    m = made_of(shaped_sine([](double x) { return x; }, 3), 997.0, random);
  }
  const double peak = some_share(random) * rms(m.samples) * std::numbers::sqrt2;
  for (int k = 1; k <= 5; ++k)
    add_line(m.samples, mains * k, peak * (k == 1 ? 1.0 : between(random, 0.0, 0.5)),
             between(random, 0.0, 6.0));
  return m;
}

Made with_whine(Random& random) {
  Made m = clean_tone(random);
  double hz = log_between(random, 1000.0, 6000.0);
  // On a harmonic of the tone it would be one, on a multiple of the mains it could be hum.
  while (std::abs(std::remainder(hz, m.hz)) < 15.0) hz += 17.3;
  add_line(m.samples, std::min(hz, 5990.0),
           some_share(random) * rms(m.samples) * std::numbers::sqrt2, 1.0);
  return m;
}

// As an alternator's, while the engine is revved.
Made with_moving_whine(Random& random) {
  Made m = clean_tone(random);
  const double hz = log_between(random, 500.0, 4000.0);
  const double hz_per_s = between(random, 0.05, 0.3) * hz;
  const double peak = some_share(random) * rms(m.samples) * std::numbers::sqrt2;
  for (std::size_t n = 0; n < m.samples.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    m.samples[n] += peak * std::sin(2.0 * std::numbers::pi * (hz + 0.5 * hz_per_s * t) * t);
  }
  return m;
}

Made with_hiss(Random& random) {
  Made m = clean_tone(random);
  add_noise(m.samples, 1.3 * some_share(random) * rms(m.samples), random);
  return m;
}

Made too_soft(Random& random) {
  const double hz = usual_frequency(random);
  const double peak = log_between(random, 0.0015, 0.006);
  std::vector<double> x(static_cast<std::size_t>(2.0 * rate));
  add_line(x, hz, peak, between(random, 0.0, 6.0));
  add_noise(x, 1.4 * between(random, 0.015, 0.03) * peak, random);
  return {x, hz, ""};
}

Made coarse(Random& random) {
  const double hz = usual_frequency(random) + between(random, 0.0, 1.0);
  const double codes = log_between(random, 6.0, 25.0);
  std::vector<double> x(static_cast<std::size_t>(2.0 * rate));
  add_line(x, hz, codes / 128.0, between(random, 0.0, 6.0));
  const bool dithered = one_of(random, 2) == 0;
  for (double& v : x) {
    const double dither = dithered ? between(random, -0.5, 0.5) + between(random, -0.5, 0.5) : 0.0;
    v = std::round(v * 128.0 + dither) / 128.0;
  }
  return {x, hz, std::to_string(codes) + (dithered ? " codes, dithered" : " codes")};
}

Made with_clicks(Random& random) {
  Made m = clean_tone(random, 4.0);
  const int count = 3 + one_of(random, 20);
  const double peak = rms(m.samples) * log_between(random, 0.2, 3.0);
  for (int i = 0; i < count; ++i) {
    const auto length = static_cast<std::size_t>(log_between(random, 8.0, 100.0));
    const auto at = static_cast<std::size_t>(
        between(random, 0.0, static_cast<double>(m.samples.size() - length)));
    const double sign = one_of(random, 2) == 0 ? 1.0 : -1.0;
    for (std::size_t n = 0; n < length; ++n)
      m.samples[at + n] +=
          sign * peak * std::sin(pi * (static_cast<double>(n) + 0.5) / static_cast<double>(length));
  }
  return m;
}

Made with_gaps(Random& random) {
  Made m = clean_tone(random, 4.5);
  const int count = 1 + one_of(random, 5);
  for (int i = 0; i < count; ++i) {
    const auto length = static_cast<std::size_t>(log_between(random, 0.002, 0.3) * rate);
    // One in each stretch of 0.7 s, so that none overlap.
    const double first = (0.1 + 0.75 * i + between(random, 0.0, 0.3)) * rate;
    for (std::size_t n = 0; n < length; ++n)
      m.samples[static_cast<std::size_t>(first) + n] = between(random, -1e-5, 1e-5);
  }
  return m;
}

Made with_missing(Random& random) {
  Made m = clean_tone(random, 5.0);
  const int count = 1 + one_of(random, 3);
  for (int i = 0; i < count; ++i) {
    const double cycle = rate / m.hz;
    // A tenth of a cycle or more, else nothing is to be seen.
    const auto length = static_cast<std::ptrdiff_t>(
        std::ceil((between(random, 0.15, 0.85) + one_of(random, 20)) * cycle));
    const auto at = static_cast<std::ptrdiff_t>((0.5 + 1.3 * i + between(random, 0.0, 0.8)) * rate);
    m.samples.erase(m.samples.begin() + at, m.samples.begin() + at + length);
  }
  return m;
}

Made pumping(Random& random) {
  Made m = clean_tone(random, 5.0);
  const double swing_db = log_between(random, 0.6, 6.0);
  const double hz = log_between(random, 0.4, 3.0);
  for (std::size_t n = 0; n < m.samples.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    m.samples[n] *= std::pow(10.0, 0.5 * swing_db * (std::sin(2.0 * pi * hz * t) - 1.0) / 20.0);
  }
  return m;
}

Made fast_pumping(Random& random) {
  Made m = clean_tone(random, 3.0);
  const double depth = 1.5 * some_share(random);
  const double hz = log_between(random, 9.0, std::min(40.0, m.hz / 3.0));
  for (std::size_t n = 0; n < m.samples.size(); ++n)
    m.samples[n] *= 1.0 - depth + depth * std::sin(2.0 * pi * hz * static_cast<double>(n) / rate);
  return m;
}

// As a tape or a record has it; so much that the tone's line is spread by it.
Made wavering(Random& random) {
  constexpr double least_index = 0.4;  // rad
  const double seconds = 6.0;
  double hz = 0.0;
  double peak = 0.0;
  double per_s = 0.0;
  do {
    hz = usual_frequency(random);
    peak = log_between(random, 0.0005, 0.01);
    per_s = log_between(random, 0.5, 3.0);
  } while (hz * peak / per_s < least_index);
  const double amplitude = log_between(random, 0.1, 0.9);
  const double phase = between(random, 0.0, 6.0);
  Made m{std::vector<double>(static_cast<std::size_t>(seconds * rate)), hz, ""};
  for (std::size_t n = 0; n < m.samples.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    const double turned = peak / per_s * std::sin(2.0 * pi * per_s * t + phase);
    m.samples[n] = amplitude * std::sin(2.0 * pi * hz * t + hz * turned);
  }
  add_noise(m.samples, amplitude * std::pow(10.0, -between(random, 50.0, 90.0) / 20.0), random);
  m.what = std::to_string(100.0 * peak) + " % at " + std::to_string(per_s) + " Hz";
  return m;
}

Made swept(Random& random) {
  const double from = log_between(random, 30.0, 3000.0);
  const double to = from * std::exp(between(random, 0.02, 1.5) * (one_of(random, 2) == 0 ? 1 : -1));
  const double seconds = between(random, 4.0, 12.0);
  const double octaves = std::log(to / from);
  Made m{std::vector<double>(static_cast<std::size_t>(seconds * rate)), from, ""};
  for (std::size_t n = 0; n < m.samples.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    m.samples[n] =
        0.3 * std::sin(2.0 * pi * from * seconds / octaves * std::expm1(t / seconds * octaves));
  }
  add_noise(m.samples, 0.3 * std::pow(10.0, -between(random, 50.0, 90.0) / 20.0), random);
  m.what = "to " + std::to_string(to) + " Hz in " + std::to_string(seconds) + " s";
  return m;
}

Made beating(Random& random) {
  Made m = clean_tone(random, 6.0);
  const double beside = log_between(random, 0.4, 2.5) * (one_of(random, 2) == 0 ? 1.0 : -1.0);
  const double share = log_between(random, 0.012, 0.1);
  add_line(m.samples, m.hz + beside, share * rms(m.samples) * std::numbers::sqrt2,
           between(random, 0.0, 6.0));
  m.what = std::to_string(100.0 * share) + " % beside by " + std::to_string(beside) + " Hz";
  return m;
}

Made crossover(Random& random) {
  const double hz = usual_frequency(random);
  const double width = log_between(random, 0.04, 0.3);
  const double loss = between(random, 0.5, 1.0);
  Made m = made_of(
      shaped_sine([&](double x) { return x - loss * std::clamp(x, -width, width); }, orders_of(hz)),
      hz, random);
  m.what = "width " + std::to_string(width) + ", loss " + std::to_string(loss);
  return m;
}

Made slewed(Random& random) {
  const double hz = usual_frequency(random);
  const double limit = between(random, 0.3, 0.92);
  Made m = made_of(harmonics_of_cycle(slew_limited_cycle(limit), orders_of(hz)), hz, random);
  m.what = "limit " + std::to_string(limit);
  return m;
}

Made soft(Random& random) {
  const double hz = usual_frequency(random);
  const double drive = log_between(random, 0.5, 1.2);
  const bool cubic = one_of(random, 2) == 0;
  const auto law = [&](double x) {
    return cubic ? x - 0.25 * drive * x * x * x : std::tanh(drive * x);
  };
  Made m = made_of(shaped_sine(law, orders_of(hz)), hz, random);
  m.what = (cubic ? "cubic " : "tanh ") + std::to_string(drive);
  return m;
}

Made uneven(Random& random) {
  const double hz = usual_frequency(random);
  const double square = log_between(random, 0.03, 0.2);
  return made_of(shaped_sine([&](double x) { return x - square * x * x; }, orders_of(hz)), hz,
                 random);
}

// 0.3 dB to 6 dB over both rails, or one.
Phasors some_clip(Random& random, double hz) {
  const double db = log_between(random, 0.3, 6.0);
  const int sides = one_of(random, 3);
  return clipped_sine(sides == 1 ? 0.0 : db, sides == 2 ? 0.0 : db, orders_of(hz));
}

Made clipped(Random& random) {
  const double hz = usual_frequency(random);
  return made_of(some_clip(random, hz), hz, random);
}

Made clipped_filtered(Random& random) {
  // A tone of which several harmonics are left to tell by.
  const double hz = log_between(random, 40.0, 1200.0);
  const bool high = one_of(random, 2) == 0;
  const double corner =
      high ? hz * log_between(random, 0.4, 1.5) : hz * log_between(random, 1.0, 6.0);
  Made m = made_of(through(some_clip(random, hz), hz, high ? coupling(corner) : one_pole(corner)),
                   hz, random);
  m.what = (high ? "high-pass " : "low-pass ") + std::to_string(corner);
  return m;
}

ChannelAnalysis judged(const Made& made, std::optional<double> code_step) {
  measure::RecordingMeter meter(Hertz(rate), 1, {{}, code_step});
  meter.add(made.samples);
  return judge_channel(1, meter.finish()[0], Hertz(rate), {});
}

struct Tally {
  int right = 0, wrong = 0, called_clipped = 0, called_unclipped = 0, cannot_tell = 0;
};

Tally run(const char* what, int count, unsigned seed, const std::function<Made(Random&)>& make,
          const std::vector<CauseKind>& expected, std::optional<double> code_step = {}) {
  Random random(seed);
  Tally tally;
  std::map<std::string, int> others;
  for (int i = 0; i < count; ++i) {
    const Made made = make(random);
    const ChannelAnalysis a = judged(made, code_step);
    const auto& cause = a.findings.cause;
    const bool right =
        cause && std::find(expected.begin(), expected.end(), cause->kind) != expected.end();
    ++(right ? tally.right : tally.wrong);
    if (!a.findings.clipped) ++tally.cannot_tell;
    if (a.findings.clipped) ++(*a.findings.clipped ? tally.called_clipped : tally.called_unclipped);
    if (right) continue;
    ++others[cause ? name(cause->kind) : std::string("none, ") + name(a.findings.verdict)];
    if (tally.wrong <= 3) {
      MESSAGE(std::string(what) << " number " << i << ", " << made.hz << " Hz, " << made.what
                                << ": " << std::string(name(a.findings.verdict)) << ", THD+N "
                                << (a.findings.thdn ? a.findings.thdn->value() : -1.0) << ", "
                                << (cause ? cause->sentence : std::string("no cause")));
    }
  }
  std::string text;
  for (const auto& [name, number] : others)
    text += " " + name + ": " + std::to_string(number) + ";";
  MESSAGE(std::string(what) << ": right " << tally.right << " of " << count << "; clipped "
                            << tally.called_clipped << ", not " << tally.called_unclipped
                            << ", cannot tell " << tally.cannot_tell << text);
  return tally;
}

// Right in 99 of 100, and nothing that is not clipped is called so.
void check_unclipped(const Tally& tally, int count) {
  CHECK(tally.right * 100 >= count * 99);
  CHECK(tally.called_clipped == 0);
}

constexpr int trials = 200;

}  // namespace

TEST_CASE("trials: what is added to a tone is named, and is no clipping") {
  check_unclipped(run("hum", trials, 901, with_hum, {CauseKind::hum}), trials);
  check_unclipped(run("whine", trials, 902, with_whine, {CauseKind::whine}), trials);
  check_unclipped(run("moving whine", trials, 907, with_moving_whine, {CauseKind::whine}), trials);
  check_unclipped(run("hiss", trials, 903, with_hiss, {CauseKind::hiss}), trials);
  check_unclipped(run("soft recording", trials, 904, too_soft, {CauseKind::too_soft}), trials);
  check_unclipped(run("coarse codes", trials, 905, coarse, {CauseKind::coarse_codes}), trials);
  check_unclipped(
      run("coarse codes, marked", trials, 906, coarse, {CauseKind::coarse_codes}, 1.0 / 128.0),
      trials);
}

TEST_CASE("trials: what interrupts a tone is named, and the rest is measured") {
  check_unclipped(run("clicks", trials, 911, with_clicks, {CauseKind::clicks}), trials);
  check_unclipped(run("gaps", trials, 912, with_gaps, {CauseKind::gaps}), trials);
  check_unclipped(run("missing samples", trials, 913, with_missing, {CauseKind::missing_samples}),
                  trials);
}

TEST_CASE("trials: a level that pumps is named") {
  check_unclipped(run("pumping", trials, 921, pumping, {CauseKind::level_pumping}), trials);
  check_unclipped(run("fast pumping", trials, 922, fast_pumping, {CauseKind::level_pumping}),
                  trials);
}

TEST_CASE("trials: a speed that wavers, a sweep, and a second tone close by are told apart") {
  check_unclipped(run("wavering", trials, 923, wavering, {CauseKind::speed_wavering}), trials);
  check_unclipped(run("swept", trials, 924, swept, {CauseKind::frequency_moving}), trials);
  check_unclipped(run("beating", trials, 925, beating, {CauseKind::hum, CauseKind::foreign_tone}),
                  trials);
}

TEST_CASE("trials: music is no tone whose pitch moves") {
  constexpr int pieces = 40;
  constexpr double seconds = 6.0;
  Random random(926);
  for (int i = 0; i < pieces; ++i) {
    CAPTURE(i);
    const Made made{made_music(random, rate, seconds), 0.0, ""};
    const auto cause = judged(made, {}).findings.cause;
    CHECK((!cause || (cause->kind != CauseKind::speed_wavering &&
                      cause->kind != CauseKind::frequency_moving)));
  }
}

TEST_CASE("trials: a bent wave is named, and is no clipping") {
  check_unclipped(run("crossover", trials, 931, crossover, {CauseKind::crossover}), trials);
  check_unclipped(run("slew", trials, 932, slewed, {CauseKind::slew}), trials);
  check_unclipped(run("soft compression", trials, 933, soft, {CauseKind::soft_compression}),
                  trials);
  check_unclipped(run("uneven halves", trials, 934, uneven, {CauseKind::uneven_halves}), trials);
}

TEST_CASE("trials: clipping of 0.3 dB and more is named, with and without filters behind it") {
  for (const auto& [what, seed, make] :
       {std::tuple{"clipping", 941U, &clipped},
        std::tuple{"filtered clipping", 942U, &clipped_filtered}}) {
    const Tally tally =
        run(what, trials, seed, make, {CauseKind::clipping, CauseKind::filtered_clipping});
    CHECK(tally.called_unclipped == 0);
    CHECK(tally.right + tally.cannot_tell >= trials);
    CHECK(tally.right * 100 >= trials * 95);
  }
}
