// SPDX-License-Identifier: MIT
// Random trials of the clipped-sine model: accuracy, honesty of the stated uncertainty, false
// alarms.
#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <random>
#include <span>
#include <string>
#include <vector>

#include "measure/clipped_sine.hpp"
#include "measure/tone.hpp"
#include "support/basics.hpp"
#include "support/clipped_tone.hpp"

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;

namespace {

std::size_t orders_at(double hz) {
  return std::min<std::size_t>(60, static_cast<std::size_t>(21600.0 / hz));
}

/// A random clip: a quarter of the trials have only one rail, a quarter only the other, a fifth are
/// symmetric.
struct Rails {
  double positive_db, negative_db;
};
Rails random_rails(Random& random) {
  Rails rails{log_between(random, 0.05, 3.0), log_between(random, 0.05, 3.0)};
  const double kind = between(random, 0.0, 1.0);
  if (kind < 0.25) rails.positive_db = 0.0;
  if (kind >= 0.25 && kind < 0.5) rails.negative_db = 0.0;
  if (kind >= 0.5 && kind < 0.7) rails.negative_db = rails.positive_db;
  return rails;
}

/// What a run of trials found.
struct Tally {
  std::vector<double> errors_db;
  int stated = 0, covered = 0, missed = 0, invented = 0;

  void add(const RailOverdrive& rail, double truth_db) {
    const double error = std::abs(rail.overdrive.value() - truth_db);
    errors_db.push_back(error);
    if (truth_db <= 0.0) {
      invented += rail.flat ? 1 : 0;
      return;
    }
    ++stated;
    covered += error <= 1.96 * rail.uncertainty.value() ? 1 : 0;
    missed += rail.flat ? 0 : 1;
  }
  void add(const ClippedSineFit& fit, const Rails& truth) {
    add(fit.positive, truth.positive_db);
    add(fit.negative, truth.negative_db);
  }
  [[nodiscard]] double worst() const {
    return *std::max_element(errors_db.begin(), errors_db.end());
  }
  [[nodiscard]] double median() const {
    auto sorted = errors_db;
    std::sort(sorted.begin(), sorted.end());
    return sorted[sorted.size() / 2];
  }
  [[nodiscard]] double coverage_percent() const { return 100.0 * covered / stated; }
};

void report(const std::string& what, const Tally& tally) {
  MESSAGE(what << ": median " << tally.median() << " dB, worst " << tally.worst() << " dB, covered "
               << tally.coverage_percent() << " % of " << tally.stated << ", missed "
               << tally.missed << ", invented " << tally.invented);
}

Phasors random_clip(Random& random, double hz, const Rails& rails, double most_coupling_hz) {
  return through(clipped_sine(rails.positive_db, rails.negative_db, orders_at(hz)), hz,
                 coupling(between(random, 0.0, most_coupling_hz)));
}

bool any_flat(const ClippedSineFit& fit) {
  return fit.positive.flat || fit.negative.flat;
}

}  // namespace

TEST_CASE(
    "trials: a hard clip from a 1 s recording of 16 or 24 bits is measured within the promise") {
  Random random(20240601);
  Tally all;
  for (const double hz : {50.0, 997.0}) {
    for (const double snr_db : {45.0, 60.0}) {
      BlockMeter meter(Hertz(48000.0));
      Tally tally;
      for (int trial = 0; trial < 300; ++trial) {
        const Rails rails = random_rails(random);
        const Recorded as{hz, between(random, 0.1, 0.9), snr_db};
        auto tone = through(clipped_sine(rails.positive_db, rails.negative_db,
                                         static_cast<std::size_t>(23900.0 / hz)),
                            hz, coupling(between(random, 0.0, 20.0)));
        if (hz < 100.0) tone.resize(std::min<std::size_t>(tone.size(), 120));
        const auto block = meter.measure(samples_of(tone, as, trial % 2 == 0 ? 16 : 24, random));
        REQUIRE(block.tone);
        const auto fit = fit_clipped_sine(block.series);
        tally.add(fit, rails);
        all.add(fit, rails);
      }
      report(std::to_string(hz) + " Hz at " + std::to_string(snr_db) + " dB, recorded", tally);
      CHECK(tally.worst() < (snr_db < 50.0 ? 0.03 : 0.01));
      CHECK(tally.missed == 0);
      CHECK(tally.invented == 0);
    }
  }
  report("all recordings", all);
  CHECK(all.coverage_percent() > 93.0);
  CHECK(all.coverage_percent() < 97.0);
}

TEST_CASE("trials: the stated uncertainty covers the truth in 95 % of trials at any tone") {
  Random random(7);
  for (const double hz : {20.0, 50.0, 315.0, 997.0, 3000.0, 4000.0}) {
    for (const double snr_db : {45.0, 60.0, 80.0}) {
      Tally tally;
      for (int trial = 0; trial < 1000; ++trial) {
        const Rails rails = random_rails(random);
        const Recorded as{hz, between(random, 0.05, 0.9), snr_db};
        tally.add(fit_clipped_sine(series_of(random_clip(random, hz, rails, 30.0), as, random)),
                  rails);
      }
      report(std::to_string(hz) + " Hz at " + std::to_string(snr_db) + " dB", tally);
      CHECK(tally.worst() < (snr_db < 50.0 ? 0.03 : 0.01));
      // Five to seven orders cannot tell less than 0.1 dB of clipping from a bend; the fit says so
      // then.
      if (hz < 1000.0) {
        CHECK(tally.missed == 0);
      }
      CHECK(tally.invented == 0);
      CHECK(tally.coverage_percent() > 93.0);
      CHECK(tally.coverage_percent() < 97.0);
    }
  }
}

TEST_CASE(
    "trials: 5 kHz has too few harmonics to decide, but the overdrive of a hard clip is right") {
  Random random(8);
  Tally tally;
  for (int trial = 0; trial < 2000; ++trial) {
    const Rails rails = random_rails(random);
    const auto fit = fit_clipped_sine(
        series_of(random_clip(random, 5000.0, rails, 20.0), {5000.0, 0.5, 60.0}, random));
    CHECK_FALSE(fit.decidable);
    tally.add(fit, rails);
  }
  report("5 kHz", tally);
  CHECK(tally.worst() < 0.01);
}

namespace {

/// Laws that bend without going flat, or do something else than clip.
Law random_innocent_law(Random& random, std::string& name) {
  const double a = between(random, 0.0, 1.0);
  const double sign = between(random, 0.0, 1.0) < 0.5 ? -1.0 : 1.0;
  switch (std::uniform_int_distribution<int>(0, 6)(random)) {
    case 0: {
      name = "tanh";
      const double drive = 0.05 + 1.2 * a;  // gain at the crest 0.28 and up
      return [drive](double x) { return std::tanh(drive * x); };
    }
    case 1: {
      name = "power knee";
      const double power = between(random, 2.0, 30.0);
      const double drive = 0.3 + 0.65 * a;  // gain at the crest 0.5 and up
      return [=](double x) {
        const double y = drive * x;
        return y / std::pow(1.0 + std::pow(std::abs(y), power), 1.0 / power);
      };
    }
    case 2: {
      name = "polynomial";
      const double square = sign * std::pow(10.0, between(random, -5.0, -1.5));
      const double cube = std::pow(10.0, between(random, -5.0, -1.0));
      return [=](double x) { return x + square * x * x - cube * x * x * x; };
    }
    case 3: {
      name = "crossover";
      const double gap = std::pow(10.0, between(random, -4.0, -0.5));
      return [gap](double x) { return x > gap ? x - gap : x < -gap ? x + gap : 0.0; };
    }
    case 4: {
      name = "unequal halves";
      const double step = sign * std::pow(10.0, between(random, -4.0, -0.7));
      return [step](double x) { return x > 0.0 ? x * (1.0 + step) : x; };
    }
    case 5: {
      name = "expanding";
      const double cube = std::pow(10.0, between(random, -4.0, -0.7));
      return [cube](double x) { return x + cube * x * x * x; };
    }
    default:
      name = "linear";
      return [](double x) { return x; };
  }
}

/// Lines that are not of the tone: hum on its own harmonics' frequencies, at random phases.
void add_hum(Random& random, Phasors& tone) {
  const double level = std::pow(10.0, between(random, -5.0, -1.7));
  for (std::size_t n = 2; n <= std::min<std::size_t>(tone.size(), 12); ++n) {
    tone[n - 1] += std::polar(level * between(random, 0.0, 1.0), between(random, 0.0, 6.2831));
  }
}

}  // namespace

TEST_CASE("trials: 10 000 clean, noisy, humming, compressing tones are never called flat") {
  Random random(99);
  int false_alarms = 0;
  for (int trial = 0; trial < 10000; ++trial) {
    const double hz = log_between(random, 20.0, 5000.0);
    std::string name;
    const Law law = random_innocent_law(random, name);
    Phasors tone(orders_at(hz), 0.0);
    if (name == "linear" && between(random, 0.0, 1.0) < 0.3) {
      name = "slew limit";
      tone = harmonics_of_cycle(slew_limited_cycle(between(random, 0.3, 1.0)), orders_at(hz));
    } else if (name == "linear") {
      tone[0] = {0.0, -1.0};
    } else {
      tone = shaped_sine(law, orders_at(hz), 1024);
    }
    tone = through(tone, hz, coupling(between(random, 0.0, 30.0)));
    if (between(random, 0.0, 1.0) < 0.3)
      tone = through(tone, hz, one_pole(log_between(random, 9e3, 3e4)));
    if (between(random, 0.0, 1.0) < 0.2) {
      name += " with hum";
      add_hum(random, tone);
    }
    const Recorded as{hz, between(random, 0.01, 0.95), between(random, 20.0, 100.0)};
    const auto fit = fit_clipped_sine(series_of(tone, as, random));
    if (!any_flat(fit)) continue;
    ++false_alarms;
    MESSAGE(name << " at " << hz << " Hz, " << as.snr_db << " dB: model "
                 << static_cast<int>(fit.model) << ", +" << fit.positive.overdrive.value() << " −"
                 << fit.negative.overdrive.value() << " dB, slope " << fit.positive.crest_slope
                 << " " << (fit.residual_re_harmonics ? fit.residual_re_harmonics->value() : 0.0));
  }
  CHECK(false_alarms == 0);
}

TEST_CASE("trials: no clip of 0.1 dB or more is missed at 60 dB signal to noise") {
  Random random(100);
  int missed = 0;
  for (int trial = 0; trial < 4000; ++trial) {
    const double hz = log_between(random, 20.0, 3900.0);
    Rails rails{log_between(random, 0.1, 6.0), log_between(random, 0.1, 6.0)};
    const bool both = between(random, 0.0, 1.0) < 0.6;
    if (!both) (between(random, 0.0, 1.0) < 0.5 ? rails.positive_db : rails.negative_db) = 0.0;
    const auto fit = fit_clipped_sine(
        series_of(random_clip(random, hz, rails, 30.0), {hz, between(random, 0.05, 0.9)}, random));
    const bool found = fit.positive.flat == (rails.positive_db > 0.0) &&
                       fit.negative.flat == (rails.negative_db > 0.0);
    missed += found ? 0 : 1;
    if (!found)
      MESSAGE("missed at " << hz << " Hz: " << rails.positive_db << " " << rails.negative_db);
  }
  CHECK(missed == 0);
}
