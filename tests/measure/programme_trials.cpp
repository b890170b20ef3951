// SPDX-License-Identifier: MIT
// Made music, mastered or not, through a chain that clips it or not.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <string>
#include <vector>

#include "judge/analysis.hpp"
#include "judge/programme.hpp"
#include "measure/flat_runs.hpp"
#include "measure/played_programme.hpp"
#include "support/basics.hpp"
#include "support/made_music.hpp"

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;

namespace {

constexpr double rate = 48000.0;
constexpr double seconds = 7.0;

double highest_of(const std::vector<double>& x) {
  double highest = 0.0;
  for (const double v : x) highest = std::max(highest, std::abs(v));
  return highest;
}

OpenStream stream_of(const std::vector<double>& samples, double at_rate = rate) {
  return [&samples, at_rate] {
    auto place = std::make_shared<std::size_t>(0);
    return FrameStream{Hertz(at_rate), 1, [&samples, place](std::span<double> out) {
                         const std::size_t count = std::min(out.size(), samples.size() - *place);
                         std::copy_n(samples.begin() + static_cast<std::ptrdiff_t>(*place), count,
                                     out.begin());
                         *place += count;
                         return count;
                       }};
  };
}

std::optional<PlayedMeasurement> beside(const std::vector<double>& recorded,
                                        const std::vector<double>& track,
                                        double track_rate = rate) {
  return measure_played(stream_of(recorded), 0, static_cast<std::int64_t>(recorded.size()),
                        highest_of(recorded), stream_of(track, track_rate));
}

judge::ProgrammeFindings alone(const std::vector<double>& x) {
  const auto [lowest, highest] = std::minmax_element(x.begin(), x.end());
  PeakShapes shapes(Hertz(rate), *lowest, *highest);
  shapes.add(x.data(), 1, x.size());
  return judge::judge_programme(shapes.positive(), shapes.negative(), {});
}

std::vector<double> track_of(Random& random, int trial, double length_s = seconds) {
  constexpr Mastering kinds[] = {Mastering::none, Mastering::limiter, Mastering::soft_clipper};
  return mastered(random, made_music(random, rate, length_s), rate, kinds[trial % 3]);
}

PlayedChain chain_of(Random& random, std::optional<double> overdrive_db) {
  PlayedChain chain;
  chain.gain = between(random, 0.2, 0.8);
  chain.coupling_hz = between(random, 0.5, 20.0);
  chain.noise_rms = chain.gain * log_between(random, 2e-5, 1e-3);
  chain.bits = one_of(random, 2) == 0 ? 16 : 24;
  if (overdrive_db)
    chain.positive_rail = chain.negative_rail = std::pow(10.0, -*overdrive_db / 20.0);
  return chain;
}

/// What a number of recordings come to.
struct Outcome {
  int missed = 0, wrong = 0, false_alarms = 0, not_found = 0;
  int clean = 0, told_clean = 0;
  int soft = 0, soft_missed = 0;  // clipped by less than 1 dB
  int hidden = 0;                 // missed, and clipped by less than the answer's own bound
  int rails = 0, covered = 0;     // by twice the stated uncertainty
  double worst_db = 0.0;
};

void enter_rails(const judge::PlayedFindings& found, const PlayedChain& chain, Outcome& outcome) {
  for (const judge::PlayedRail& rail : found.rails) {
    if (!rail.onset) continue;
    const double level = sine_peak(*rail.onset);
    const double error_db =
        std::abs(20.0 * std::log10(level / (chain.gain * *chain.positive_rail)));
    outcome.worst_db = std::max(outcome.worst_db, error_db);
    outcome.wrong += error_db > 0.3 ? 1 : 0;
    ++outcome.rails;
    outcome.covered += error_db <= 2.0 * rail.uncertainty->value() ? 1 : 0;
  }
}

void enter_cut(const judge::PlayedFindings& found, const PlayedChain& chain, double overdrive_db,
               Outcome& outcome) {
  const bool missed = !found.clipped.value_or(false);
  const bool hidden = missed && overdrive_db < found.unseen_single->value();
  if (overdrive_db < 1.0) {
    ++outcome.soft;
    outcome.soft_missed += missed ? 1 : 0;
  } else {
    outcome.missed += missed && !hidden ? 1 : 0;
  }
  outcome.hidden += hidden ? 1 : 0;
  enter_rails(found, chain, outcome);
}

/// Recordings beside their tracks. Every second one is clipped, half of these by 1 dB, half by
/// `least_db` to 6 dB.
Outcome beside_the_track(int recordings, double length_s, double least_db, Random& random) {
  Outcome outcome;
  for (int trial = 0; trial < recordings; ++trial) {
    const auto track = track_of(random, trial, length_s);
    const bool cut = trial % 2 == 0;
    const double overdrive_db = trial % 4 == 0 ? 1.0 : log_between(random, least_db, 6.0);
    const auto chain = chain_of(random, cut ? std::optional(overdrive_db) : std::nullopt);
    const auto recorded = recorded_through(chain, track, rate, random);
    const auto measured = beside(recorded, track);
    if (!measured) {
      ++outcome.not_found;
      continue;
    }
    const auto found = judge::judge_played(measured, {});
    if (cut) {
      enter_cut(found, chain, overdrive_db, outcome);
    } else {
      outcome.false_alarms += found.clipped.value_or(false) ? 1 : 0;
      ++outcome.clean;
      outcome.told_clean += found.clipped.value_or(true) ? 0 : 1;
    }
  }
  MESSAGE(outcome.told_clean << " of " << outcome.clean << " clean ones are told as such");
  MESSAGE("of " << recordings << " recordings, " << outcome.missed << " missed, "
                << outcome.false_alarms << " false alarms; of " << outcome.soft
                << " clipped by less than 1 dB, " << outcome.soft_missed << " missed; "
                << outcome.hidden << " below the bound; worst error of a rail " << outcome.worst_db
                << " dB, " << outcome.covered << " of " << outcome.rails << " covered");
  return outcome;
}

}  // namespace

TEST_CASE(
    "trials: music that nothing clipped is never called clipped, and loud clipping is found") {
  Random random(31);
  int found = 0, clipped = 0;
  for (int trial = 0; trial < 200; ++trial) {
    const auto track = track_of(random, trial);
    const auto clean = recorded_through(chain_of(random, {}), track, rate, random);
    CHECK_FALSE(alone(clean).clipped.value_or(false));
    const double overdrive_db = between(random, 3.0, 6.0);
    const auto cut = recorded_through(chain_of(random, overdrive_db), track, rate, random);
    found += alone(cut).clipped.value_or(false) ? 1 : 0;
    ++clipped;
  }
  MESSAGE("of " << clipped << " clipped by 3 to 6 dB, " << found
                << " were found without the track");
  CHECK(found * 10 > clipped * 8);
}

TEST_CASE("trials: with the track, what the chain clips by 1 dB and more is found, and its rails") {
  Random random(32);
  const Outcome outcome = beside_the_track(40, 3.0, 1.0, random);
  CHECK(outcome.not_found == 0);
  CHECK(outcome.false_alarms == 0);
  CHECK(outcome.missed == 0);
  CHECK(outcome.wrong == 0);
  CHECK(outcome.told_clean == outcome.clean);
}

// As a door amplifier's output is, where the head unit in front of its filter clips.
TEST_CASE("trials: with the track, clipping in front of a high-pass is never called none") {
  Random random(35);
  constexpr int recordings = 24;
  int called_clean = 0, told_clean = 0;
  for (int trial = 0; trial < recordings; ++trial) {
    const auto track = track_of(random, trial, 3.0);
    const bool cut = trial % 3 != 0;
    auto chain =
        chain_of(random, cut ? std::optional(log_between(random, 1.0, 6.0)) : std::nullopt);
    chain.high_pass = {Hertz(log_between(random, 50.0, 200.0)), trial % 2 == 0 ? 2 : 4};
    const auto recorded = recorded_through(chain, track, rate, random);
    const auto found = judge::judge_played(beside(recorded, track), {});
    const bool clean = !found.clipped.value_or(true);
    called_clean += clean && cut ? 1 : 0;
    told_clean += clean && !cut ? 1 : 0;
  }
  CHECK(called_clean == 0);
  CHECK(told_clean == recordings / 3);
}

/// Recorded before the track begins.
std::vector<double> with_silence(std::vector<double> music, std::size_t samples) {
  music.insert(music.begin(), samples, 0.0);
  return music;
}

/// A bass amplifier, clean; the head unit in front of it too.
PlayedChain bass_chain_of(Random& random) {
  PlayedChain chain = chain_of(random, {});
  chain.noise_rms = log_between(random, 3e-5, 3e-4);  // −90 to −70 dBFS
  const bool linkwitz_riley = one_of(random, 2) == 0;
  chain.low_passes = linkwitz_riley ? 2 : 1;
  chain.low_pass = {Hertz(log_between(random, 50.0, 120.0)),
                    linkwitz_riley || one_of(random, 2) == 0 ? 2 : 4};
  if (one_of(random, 2) == 0)
    chain.subsonic = {Hertz(between(random, 20.0, 30.0)), one_of(random, 2) == 0 ? 2 : 4};
  return chain;
}

// As a bass amplifier's output is: a low-pass, then the rails. The clocks differ by 100 ppm at most
// (common practice), which is what rates that are not quite what the files say amount to.
TEST_CASE("trials: with the track, a bass amplifier's clipping is found, and its rails") {
  Random random(36);
  Outcome outcome;
  for (int trial = 0; trial < 24; ++trial) {
    const auto track = track_of(random, trial, 5.0);
    PlayedChain chain = bass_chain_of(random);
    const bool cut = trial % 3 != 0;
    const double overdrive_db = log_between(random, 1.0, 6.0);
    if (cut) chain.positive_rail = chain.negative_rail = std::pow(10.0, -overdrive_db / 20.0);
    const double track_rate = rate * (1.0 + 1e-4 * between(random, -1.0, 1.0));
    const auto late = static_cast<std::size_t>(between(random, 0.1, 0.5) * rate);
    const auto recorded = recorded_through(chain, with_silence(track, late), rate, random);
    const auto found = judge::judge_played(beside(recorded, track, track_rate), {});
    outcome.not_found += found.measured ? 0 : 1;
    if (!found.measured) continue;
    CHECK(within_abs(found.measured->clock_ratio, rate / track_rate, 1e-6));
    CHECK_FALSE(found.measured->inverted);
    // A low-pass rises a few milliseconds after it was struck.
    CHECK(within_abs(found.measured->delay.value(), static_cast<double>(late) / rate, 6e-3));
    if (cut) {
      enter_cut(found, chain, overdrive_db, outcome);
    } else {
      outcome.false_alarms += found.clipped.value_or(false) ? 1 : 0;
    }
  }
  MESSAGE("of 16 bass recordings that are clipped, "
          << outcome.missed << " missed, " << outcome.hidden << " below the bound; worst error of "
          << outcome.rails << " rails " << outcome.worst_db << " dB; " << outcome.not_found
          << " of 24 not found, " << outcome.false_alarms << " false alarms");
  CHECK(outcome.not_found == 0);
  CHECK(outcome.false_alarms == 0);
  CHECK(outcome.missed + outcome.hidden <= 1);
  CHECK(outcome.wrong == 0);
}

// A low-pass leaves little of what a head unit in front of it cuts off.
TEST_CASE("trials: with the track, clipping in front of a low-pass is never called none") {
  Random random(37);
  int called_clean = 0, found_in_it = 0;
  for (int trial = 0; trial < 24; ++trial) {
    const auto track = track_of(random, trial, 3.0);
    PlayedChain chain = bass_chain_of(random);
    chain.head_unit_rail = std::pow(10.0, -log_between(random, 1.0, 6.0) / 20.0);
    const auto recorded = recorded_through(chain, with_silence(track, 10000), rate, random);
    const auto found = judge::judge_played(beside(recorded, track), {});
    called_clean += found.clipped.value_or(true) ? 0 : 1;
    found_in_it += found.measured ? 1 : 0;
  }
  CHECK(called_clean == 0);
  CHECK(found_in_it >= 22);
}

// Noise of the recording hides what is clipped by little: the bound that the answer names must
// hold.
TEST_CASE(
    "trials: with the track, clipping that is missed is less than the answer says would not show") {
  Random random(34);
  constexpr int recordings = 30;
  int false_alarms = 0, missed = 0, over_the_bound = 0, told = 0;
  for (int trial = 0; trial < recordings; ++trial) {
    const auto track = track_of(random, trial, 3.0);
    const bool cut = trial % 3 != 0;
    const double overdrive_db = log_between(random, 0.05, 0.8);
    auto chain = chain_of(random, cut ? std::optional(overdrive_db) : std::nullopt);
    chain.noise_rms = chain.gain * log_between(random, 1e-3, 2e-2);
    const auto recorded = recorded_through(chain, track, rate, random);
    const auto measured = beside(recorded, track);
    REQUIRE(measured);
    const auto found = judge::judge_played(measured, {});
    REQUIRE(found.unseen_single);
    CHECK(*found.unseen_single >= *found.unseen);
    const bool called = found.clipped.value_or(false);
    false_alarms += called && !cut ? 1 : 0;
    if (called || !cut) continue;
    ++missed;
    over_the_bound += overdrive_db > found.unseen_single->value() ? 1 : 0;
    told += std::any_of(found.reasons.begin(), found.reasons.end(),
                        [](const std::string& reason) {
                          return reason.find("would not show") != std::string::npos;
                        })
                ? 1
                : 0;
  }
  MESSAGE("of " << recordings << " recordings " << missed << " clipped ones were missed, "
                << over_the_bound << " of them over the bound; " << false_alarms
                << " false alarms");
  CHECK(false_alarms == 0);
  CHECK(missed >= 5);
  CHECK(told == missed);
  CHECK(over_the_bound == 0);
}

// The same on 200 recordings, which takes minutes.
TEST_CASE("trials: with the track, of 200 recordings, all that the chain clips is found" *
          doctest::test_suite("nightly")) {
  Random random(33);
  const Outcome outcome = beside_the_track(200, seconds, 0.5, random);
  CHECK(outcome.not_found == 0);
  CHECK(outcome.false_alarms == 0);
  CHECK(outcome.missed <= 1);
  CHECK(outcome.wrong == 0);
  CHECK(outcome.covered * 20 >= outcome.rails * 19);
}
